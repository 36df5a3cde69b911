// Draws a still piece of page: elements that no callback reads or writes (components/still.py). React escapes what is text.
(function () {
  "use strict";
  const React = window.React;
  const LOOK_MS = 10;
  const PATIENCE_MS = 3000;

  // As the library's own link: the address changes without a new loading, unless the reader asks for another tab.
  function follow(event) {
    if (event.metaKey || event.shiftKey || event.altKey || event.ctrlKey) {
      return;
    }
    event.preventDefault();
    window.history.pushState({}, "", event.currentTarget.href);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    window.scrollTo(0, 0);
  }

  // Charts are drawn one after the other: the first stands before the last is begun, and a click in between is heard.
  const waiting = [];
  let drawing = false;

  function nextChart() {
    const chart = waiting.shift();
    drawing = Boolean(chart);
    if (chart) {
      chart.draw(true);
      awaitDrawn(chart.frame, Date.now());
    }
  }

  function awaitDrawn(frame, since) {
    const isOver = frame.querySelector(".main-svg") || !frame.isConnected || Date.now() - since > PATIENCE_MS;
    window.setTimeout(isOver ? nextChart : awaitDrawn, isOver ? 0 : LOOK_MS, frame, since);
  }

  function Chart(props) {
    const [mayDraw, draw] = React.useState(false);
    const place = React.useRef(null);
    React.useEffect(function () {
      const chart = { draw: draw, frame: place.current.parentNode };
      waiting.push(chart);
      if (!drawing) {
        drawing = true;
        window.setTimeout(nextChart, 0);
      }
      return function () {
        if (waiting.includes(chart)) {
          waiting.splice(waiting.indexOf(chart), 1);
        }
      };
    }, []);
    if (!mayDraw) {
      return React.createElement("div", { ref: place, style: props.style, className: "chart-to-come" });
    }
    return React.createElement(window.dash_core_components.Graph, Object.assign({ setProps: function () {} }, props));
  }

  function drawn(part) {
    if (!Array.isArray(part)) {
      return part;
    }
    const attributes = Object.assign({}, part[1]);
    let kind = part[0];
    if (kind === "dcc.Graph") {
      return React.createElement(Chart, attributes);
    }
    if (kind === "dcc.Link") {
      kind = "a";
      attributes.onClick = follow;
    }
    if (attributes.href) {
      attributes.href = window.dash_clientside.clean_url(attributes.href);
    }
    return React.createElement.apply(null, [kind, attributes].concat(part.slice(2).map(drawn)));
  }

  function Still(props) {
    return React.useMemo(function () { return drawn(JSON.parse(props.tree)); }, [props.tree]);
  }

  window.fitledger = Object.assign(window.fitledger || {}, { Still: Still });
})();
