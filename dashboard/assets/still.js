// Draws a still piece of page: elements that no callback reads or writes (components/still.py). React escapes what is text.
(function () {
  "use strict";
  const React = window.React;
  const LOOK_MS = 10;
  const PATIENCE_MS = 3000;
  const TYPEFACE_MS = 1000;
  const SLIP_PX = 8;

  let pressed = null;

  function isPlain(event) {
    return !event.button && !event.metaKey && !event.shiftKey && !event.altKey && !event.ctrlKey;
  }

  // As the library's own link: the address changes without a new loading, unless the reader asks for another tab.
  function lead(href, of) {
    window.history.pushState({}, "", carried(href, of));
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    window.scrollTo(0, 0);
  }

  // A link is a change of the query that it was made for (`of`, where it is known). Where the reader chose something else meanwhile, whose answer
  // is still to come, that choice stays; of another page, as far as it is one of the filters.
  function carried(href, of) {
    if (of === undefined) {
      return href;
    }
    const link = new URL(href, window.location);
    const [made, now] = [new URLSearchParams(of), new URLSearchParams(window.location.search)];
    const isHere = link.pathname === window.location.pathname;
    const wanted = new URLSearchParams();
    new Set([...now.keys(), ...link.searchParams.keys(), ...made.keys()]).forEach(function (word) {
      const isChosen = link.searchParams.get(word) === made.get(word) && (isHere || document.getElementById("filter-" + word));
      const value = (isChosen ? now : link.searchParams).get(word);
      if (value !== null) {
        wanted.set(word, value);
      }
    });
    const isOld = [...made.keys(), ...now.keys()].some(function (word) { return made.get(word) !== now.get(word); });
    if (isOld) {
      link.search = wanted.toString().replaceAll("%2C", ",");
    }
    return link.href;
  }

  // A link that is drawn anew between press and release hears no click.
  window.addEventListener("pointerup", function (event) {
    const one = pressed;
    pressed = null;
    if (one && !one.link.isConnected && Math.hypot(event.clientX - one.x, event.clientY - one.y) < SLIP_PX) {
      lead(one.link.href, one.of);
    }
  });

  function heard(of) {
    return {
      onClick: function (event) {
        if (isPlain(event)) {
          event.preventDefault();
          lead(event.currentTarget.href, of);
        }
      },
      onPointerDown: function (event) {
        pressed = isPlain(event) ? { link: event.currentTarget, of: of, x: event.clientX, y: event.clientY } : null;
      },
    };
  }

  // Text in charts is laid out in the typeface of the pages (figures/theme.py), which came with them; where it does not come,
  // the charts do not wait for long.
  let isTypefaceHere = false;
  const weights = ["400", "700"].map(function (weight) { return document.fonts.load(weight + " 13px Fitledger"); });
  const late = new Promise(function (resolve) { window.setTimeout(resolve, TYPEFACE_MS); });
  Promise.race([Promise.allSettled(weights), late]).then(function () { isTypefaceHere = true; });

  // Sizes within a chart are for text of 16 px; where the reader's browser has larger text, the chart grows with it.
  const ROOT_PX = 16;
  const SIZES = ["size", "height", "standoff", "ticklabelstandoff", "xshift", "yshift", "ax", "ay", "l", "r", "t", "b"];

  function grown(part, scale) {
    if (scale === 1) {
      return part;
    }
    return JSON.parse(JSON.stringify(part), function (key, value) {
      if (!SIZES.includes(key)) {
        return value;
      }
      const one = function (size) { return typeof size === "number" ? scale * size : size; };
      return Array.isArray(value) ? value.map(one) : one(value);
    });
  }

  function textScale() {
    return parseFloat(window.getComputedStyle(document.documentElement).fontSize) / ROOT_PX;
  }

  // Charts are drawn one after the other, and what is folded away after them: the first stands before the last is begun, and
  // a click in between is heard.
  const waiting = { charts: [], folds: [] };
  let drawing = false;

  function drawNext() {
    // The charts' script is the last that the browser reads.
    const chart = window.Plotly && isTypefaceHere && waiting.charts.shift();
    const fold = !chart && !waiting.charts.length && waiting.folds.shift();
    drawing = Boolean(chart || fold || waiting.charts.length);
    if (chart) {
      chart.draw(true);
      awaitDrawn(chart.frame, Date.now());
    } else if (drawing) {
      if (fold) {
        fold.draw(true);
      }
      window.setTimeout(drawNext, fold ? 0 : LOOK_MS);
    }
  }

  function awaitDrawn(frame, since) {
    const isOver = frame.querySelector(".main-svg") || !frame.isConnected || Date.now() - since > PATIENCE_MS;
    window.setTimeout(isOver ? drawNext : awaitDrawn, isOver ? 0 : LOOK_MS, frame, since);
  }

  // Whether its turn has come, and a reference for the element that stands in its place until then.
  function useTurn(queue) {
    const [hasCome, draw] = React.useState(false);
    const place = React.useRef(null);
    React.useEffect(function () {
      const one = { draw: draw, frame: place.current && place.current.parentNode };
      queue.push(one);
      if (!drawing) {
        drawing = true;
        window.setTimeout(drawNext, 0);
      }
      return function () {
        if (queue.includes(one)) {
          queue.splice(queue.indexOf(one), 1);
        }
      };
    }, []);
    return [hasCome, draw, place];
  }

  function Chart(props) {
    const [hasCome, , place] = useTurn(waiting.charts);
    return hasCome
      ? React.createElement(Drawing, props)
      : React.createElement("div", { ref: place, style: grownStyle(props.style, textScale()), className: "chart-to-come" });
  }

  // A closed fold is as good as empty until it is opened: most rows of a page lie in one.
  function Fold(props) {
    const [hasCome, draw] = useTurn(waiting.folds);
    const [attributes, summary, rest] = [props.part[1], props.part[2], props.part.slice(3)];
    const inside = React.useMemo(function () { return hasCome ? allDrawn(rest, props.of) : []; }, [hasCome, props.part]);
    const given = Object.assign({ onToggle: function () { draw(true); } }, attributes);
    if (!hasCome) {
      given.className = [given.className, "fold-to-come"].filter(Boolean).join(" ");
    }
    return React.createElement.apply(null, ["details", given, drawn(summary, props.of)].concat(inside));
  }

  // The chart follows its figure, and the width of its place: a filter bar or a fold that opens is no change of the window.
  function Drawing(props) {
    const place = React.useRef(null);
    const scale = React.useMemo(textScale, []);
    React.useEffect(function () {
      const figure = grown(props.figure, scale);
      window.Plotly.react(place.current, figure.data, figure.layout, props.config);
    }, [props.figure, props.config]);
    React.useEffect(function () {
      const drawing = place.current;
      const watch = new ResizeObserver(function () {
        if (drawing.offsetWidth && drawing.layout && drawing.layout.autosize && drawing.offsetWidth !== drawing.width) {
          drawing.width = drawing.offsetWidth;
          window.Plotly.Plots.resize(drawing);
        }
      });
      watch.observe(drawing);
      return function () {
        watch.disconnect();
        window.Plotly.purge(drawing);
      };
    }, []);
    return React.createElement("div", { ref: place, style: grownStyle(props.style, scale) });
  }

  function grownStyle(style, scale) {
    return Object.assign({}, style, { height: scale * parseFloat(style.height) + "px" });
  }

  function allDrawn(parts, of) {
    return parts.map(function (part) { return drawn(part, of); });
  }

  function drawn(part, of) {
    if (!Array.isArray(part)) {
      return part;
    }
    const attributes = Object.assign({}, part[1]);
    let kind = part[0];
    if (kind === "details" && !attributes.open) {
      return React.createElement(Fold, { part: part, of: of });
    }
    if (kind === "dcc.Graph") {
      return React.createElement(Chart, attributes);
    }
    if (kind === "dcc.Link") {
      kind = "a";
      Object.assign(attributes, heard(of));
    }
    if (attributes.href) {
      attributes.href = window.dash_clientside.clean_url(attributes.href);
    }
    return React.createElement.apply(null, [kind, attributes].concat(allDrawn(part.slice(2), of)));
  }

  function Still(props) {
    return React.useMemo(function () { return drawn(JSON.parse(props.tree), props.of); }, [props.tree, props.of]);
  }

  window.fitledger = Object.assign(window.fitledger || {}, { Still: Still });
})();
