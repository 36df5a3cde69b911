// Charts keep their screen width and theme on paper unless they are drawn anew before printing.
(function () {
  "use strict";

  function charts() {
    return Array.from(document.querySelectorAll(".js-plotly-plot")).filter(function (chart) {
      return chart.layout && chart.layout.meta && chart.layout.meta.on_paper;
    });
  }

  // Every colour of the screen's theme, replaced by the one that stands for it on paper.
  function inked(part, colours) {
    return JSON.parse(JSON.stringify(part), function (key, value) {
      return typeof value === "string" && value in colours ? colours[value] : value;
    });
  }

  window.fitledgerPaper = { inked: inked };

  function paperWidth(chart) {
    // A4 less margins is 18 cm, 680 px at 96 dpi.
    const card = chart.closest(".card, .is-double > div, .is-two > .chart");
    return card ? 320 : 670;
  }

  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details:is(.method, .is-printed):not([open])").forEach(function (details) {
      details.open = true;
      details.dataset.wasClosed = "";
    });
    charts().forEach(function (chart) {
      const colours = chart.layout.meta.on_paper;
      chart.onScreen = { data: chart.data, layout: chart.layout };
      const layout = inked(chart.layout, colours);
      layout.width = paperWidth(chart);
      layout.autosize = false;
      window.Plotly.react(chart, inked(chart.data, colours), layout);
    });
  });

  window.addEventListener("afterprint", function () {
    document.querySelectorAll("details[data-was-closed]").forEach(function (details) {
      details.open = false;
      delete details.dataset.wasClosed;
    });
    charts().forEach(function (chart) {
      if (chart.onScreen) {
        const layout = Object.assign({}, chart.onScreen.layout, { autosize: true });
        delete layout.width;
        window.Plotly.react(chart, chart.onScreen.data, layout);
        delete chart.onScreen;
      }
    });
  });
})();
