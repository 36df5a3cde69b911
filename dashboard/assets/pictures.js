// Saves a chart as a picture, and leads from a chart to its table. The picture is made here, in the browser: nothing is
// sent anywhere. It carries what the chart needs to be read elsewhere: title, selection, caption, and the caution's first
// sentence, on white in the colours of paper.
(function () {
  "use strict";

  const SVG = "http://www.w3.org/2000/svg";
  const MARGIN = 24;
  const WIDTHS = { least: 520, most: 1100 };
  // A picture for a page in print: three dots a CSS pixel.
  const PNG_SCALE = 3;
  const LAST = "What followed in this studio's riders; no medical advice and no prescription.";
  const measure = document.createElement("canvas").getContext("2d");

  function words(element) {
    return element ? element.textContent.replace(/\s+/g, " ").trim() : "";
  }

  // The first caption behind the chart, whether it stands beside it or below a row of charts.
  function captionOf(figure) {
    const place = figure.closest(".answer") || document;
    const below = Array.from(place.querySelectorAll(".reading")).find(function (reading) {
      return figure.compareDocumentPosition(reading) & Node.DOCUMENT_POSITION_FOLLOWING;
    });
    return below ? Array.from(below.querySelectorAll("p")).map(words) : [];
  }

  function wrapped(text, font, width) {
    measure.font = font;
    const lines = [];
    let line = "";
    text.split(" ").forEach(function (word) {
      const longer = line ? line + " " + word : word;
      if (line && measure.measureText(longer).width > width) {
        lines.push(line);
        line = word;
      } else {
        line = longer;
      }
    });
    return line ? lines.concat(line) : lines;
  }

  function element(name, attributes) {
    const made = document.createElementNS(SVG, name);
    Object.keys(attributes).forEach(function (key) {
      made.setAttribute(key, attributes[key]);
    });
    return made;
  }

  // Lays paragraphs under each other from `top`; gives the place below the last line.
  function write(svg, paragraphs, style, top) {
    let y = top;
    paragraphs.filter(Boolean).forEach(function (text) {
      const font = style.weight + " " + style.size + "px " + style.family;
      wrapped(text, font, style.width).forEach(function (line) {
        y += style.size * 1.4;
        const drawn = element("text", {
          x: MARGIN, y: y, fill: style.colour,
          "font-family": style.family, "font-size": style.size, "font-weight": style.weight,
        });
        drawn.textContent = line;
        svg.appendChild(drawn);
      });
      y += 5;
    });
    return y;
  }

  // The rule that names the pages' typeface, with the typeface in it: a saved picture is read where there is no page.
  let typeface = null;

  function typefaceRule() {
    const rule = Array.from(document.styleSheets).flatMap(function (sheet) { return Array.from(sheet.cssRules); })
      .find(function (one) { return one instanceof CSSFontFaceRule; });
    const address = rule.style.getPropertyValue("src").match(/url\("?([^")]+)/)[1];
    return window.fetch(address).then(function (response) { return response.blob(); }).then(function (blob) {
      return new Promise(function (resolve) {
        const reader = new FileReader();
        reader.onload = function () { resolve(rule.cssText.replace(address, reader.result)); };
        reader.readAsDataURL(blob);
      });
    });
  }

  function compose(figure, drawing, drawn, ink, muted, rule) {
    const size = { width: drawn.width + MARGIN, height: drawn.height };
    const family = getComputedStyle(document.body).fontFamily;
    const style = { family: family, width: size.width - 2 * MARGIN };
    const small = Object.assign({ size: 12, weight: 400, colour: muted }, style);
    const large = Object.assign({ size: 17, weight: 600, colour: ink }, style);
    const svg = element("svg", { xmlns: SVG, width: size.width });
    const ground = element("rect", { width: size.width, fill: "#ffffff" });
    const look = element("style", {});
    look.textContent = rule;
    svg.appendChild(look);
    svg.appendChild(ground);
    const named = [cardTitle(figure), title(figure)].filter(Boolean);
    let y = write(svg, named.slice(0, 1), large, MARGIN / 2);
    y = write(svg, named.slice(1).concat(words(document.getElementById("selected"))), small, y) + 8;
    drawing.setAttribute("x", MARGIN / 2);
    drawing.setAttribute("y", y);
    svg.appendChild(drawing);
    y = write(svg, captionOf(figure).concat(LAST), small, y + size.height + 4) + MARGIN / 2;
    const height = Math.ceil(y);
    svg.setAttribute("height", height);
    svg.setAttribute("viewBox", "0 0 " + size.width + " " + height);
    ground.setAttribute("height", height);
    return { text: new XMLSerializer().serializeToString(svg), width: size.width, height: height };
  }

  function title(figure) {
    return words(figure.querySelector(".chart-title"));
  }

  // A small chart on a card is named by the card.
  function cardTitle(figure) {
    const card = figure.closest(".card");
    return words(card && card.querySelector(".card-title"));
  }

  async function composed(figure) {
    const chart = figure.querySelector(".js-plotly-plot");
    const paper = (chart.layout.meta || {}).on_paper || {};
    const width = Math.round(Math.min(WIDTHS.most, Math.max(WIDTHS.least, chart.offsetWidth)));
    const size = { width: width, height: chart.offsetHeight };
    const layout = window.fitledgerPaper.inked(chart.layout, paper);
    layout.autosize = false;
    const data = window.fitledgerPaper.inked(chart.data, paper);
    const text = await window.Plotly.toImage(
      { data: data, layout: layout, config: { staticPlot: true } },
      { format: "svg", imageDataOnly: true, width: size.width, height: size.height }
    );
    const drawing = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
    const style = getComputedStyle(document.documentElement);
    const onPaper = function (name) {
      const shown = style.getPropertyValue(name).trim();
      return paper[shown] || shown;
    };
    // A picture without its typeface is better than none.
    typeface = typeface || await typefaceRule().catch(function () { return ""; });
    return compose(figure, document.importNode(drawing, true), size, onPaper("--ink"), onPaper("--muted"), typeface);
  }

  function asPng(picture) {
    return new Promise(function (resolve, reject) {
      const image = new Image();
      image.onload = function () {
        const canvas = document.createElement("canvas");
        canvas.width = picture.width * PNG_SCALE;
        canvas.height = picture.height * PNG_SCALE;
        canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
        canvas.toBlob(resolve, "image/png");
      };
      image.onerror = reject;
      image.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(picture.text);
    });
  }

  function save(blob, name) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = name;
    link.click();
    window.setTimeout(function () { URL.revokeObjectURL(link.href); }, 60000);
  }

  // Characters that a file name may not hold on some system become spaces.
  function fileName(figure, form) {
    const name = [cardTitle(figure), title(figure)].filter(Boolean).join(" - ");
    return name.replace(/[\\/:*?"<>|\u0000-\u001f\s]+/g, " ").trim().slice(0, 120) + "." + form;
  }

  async function savePicture(button) {
    const figure = button.closest(".chart");
    const form = button.dataset.picture;
    button.setAttribute("aria-busy", "true");
    try {
      const picture = await composed(figure);
      const blob = form === "png" ? await asPng(picture) : new Blob([picture.text], { type: "image/svg+xml" });
      save(blob, fileName(figure, form));
    } finally {
      button.removeAttribute("aria-busy");
    }
  }

  function goToTable(id) {
    const table = document.getElementById(id);
    if (!table) {
      return;
    }
    const folded = table.closest("details:not([open])");
    if (folded) {
      folded.open = true;
    }
    table.focus({ preventScroll: true });
    table.scrollIntoView({ block: "start" });
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest("button[data-picture]");
    if (button && !button.hasAttribute("aria-busy")) {
      savePicture(button);
      return;
    }
    const link = event.target.closest && event.target.closest('.chart-tools a[href^="#"]');
    if (link) {
      // The address holds the view; a place on the page is no part of it.
      event.preventDefault();
      goToTable(link.getAttribute("href").slice(1));
    }
  });

  document.addEventListener("keydown", function (event) {
    const chart = event.target.closest && event.target.closest(".chart");
    const drawing = chart && chart.querySelector("[data-table]");
    if (drawing && event.key.toLowerCase() === "t" && !event.ctrlKey && !event.altKey && !event.metaKey) {
      event.preventDefault();
      goToTable(drawing.dataset.table);
    }
  });
})();
