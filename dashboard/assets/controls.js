// The controls of the selection, made of the browser's own elements: keyboards, phones and screen readers know them.
// Each is a component of Dash (components/controls.py): it is given its value, and tells another one by setProps.
(function () {
  "use strict";
  const React = window.React;
  const create = React.createElement;

  function labelOf(props) {
    return create("label", { key: "label", id: props.id + "-label", htmlFor: props.id }, props.label);
  }

  // A year is typed digit by digit: a day is told when it lies within the studio's own, or when the reader leaves the field.
  function Day(props) {
    const [shown, show] = React.useState(props.value || "");
    React.useEffect(function () { show(props.value || ""); }, [props.value]);

    function tell(event) {
      const day = event.target.value || null;
      if (day !== (props.value || null) && !event.target.validity.badInput) {
        props.setProps({ value: day });
      }
    }

    return [
      labelOf(props),
      create("input", {
        key: "input", type: "date", id: props.id, className: "field" + (shown ? "" : " is-empty"), value: shown,
        min: props.first, max: props.last,
        onChange: function (event) {
          show(event.target.value);
          if (event.target.validity.valid) {
            tell(event);
          }
        },
        onBlur: tell,
        onKeyDown: function (event) {
          if (event.key === "Enter") {
            tell(event);
          }
        },
      }),
    ];
  }

  function OneOf(props) {
    const options = [{ value: "", label: props.placeholder }].concat(props.options);
    return [
      labelOf(props),
      create("select", {
        key: "select", id: props.id, className: "field", value: props.value || "",
        onChange: function (event) { props.setProps({ value: event.target.value || null }); },
      }, options.map(function (option) {
        return create("option", { key: option.value, value: option.value }, option.label);
      })),
    ];
  }

  // A button that tells what is chosen and opens a list of boxes to tick.
  function Several(props) {
    const [isOpen, open] = React.useState(false);
    const frame = React.useRef(null);
    const chosen = props.value || [];
    const names = props.options.filter(function (option) { return chosen.includes(option.value); });

    React.useEffect(function () {
      if (!isOpen) {
        return undefined;
      }
      function leave(event) {
        if (!frame.current.contains(event.target)) {
          open(false);
        }
      }
      document.addEventListener("pointerdown", leave);
      document.addEventListener("focusin", leave);
      return function () {
        document.removeEventListener("pointerdown", leave);
        document.removeEventListener("focusin", leave);
      };
    }, [isOpen]);

    function tick(event) {
      const ticked = props.options.map(function (option) { return option.value; }).filter(function (value) {
        return value === event.target.value ? event.target.checked : chosen.includes(value);
      });
      props.setProps({ value: ticked });
    }

    function move(event) {
      const button = frame.current.querySelector("button");
      if (event.key === "Escape" && isOpen) {
        open(false);
        button.focus();
      } else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
        event.preventDefault();
        if (!isOpen) {
          open(true);
          return;
        }
        const boxes = Array.from(frame.current.querySelectorAll("input"));
        const place = boxes.indexOf(document.activeElement) + (event.key === "ArrowDown" ? 1 : -1);
        (boxes[place] || (place < 0 ? button : boxes[boxes.length - 1])).focus();
      }
    }

    return create("div", { ref: frame, className: "several", onKeyDown: move }, [
      create("span", { key: "label", id: props.id + "-label", className: "label" }, props.label),
      create("button", {
        key: "button", type: "button", id: props.id, className: "field" + (names.length ? "" : " is-empty"),
        "aria-expanded": isOpen, "aria-controls": props.id + "-list", "aria-labelledby": props.id + "-label " + props.id,
        disabled: !props.options.length,
        onClick: function () { open(!isOpen); },
      }, names.map(function (option) { return option.label; }).join(", ") || props.placeholder),
      create("div", {
        key: "list", id: props.id + "-list", className: "boxes", hidden: !isOpen, role: "group",
        "aria-labelledby": props.id + "-label",
      }, props.options.map(function (option) {
        return create("label", { key: option.value }, [
          create("input", {
            key: "box", type: "checkbox", value: option.value, checked: chosen.includes(option.value), onChange: tick,
          }),
          create("span", { key: "words" }, option.label),
        ]);
      })),
    ]);
  }

  // A field whose matches are found on the server while the reader types; Enter opens the first one, once they are those of
  // the text as it stands.
  function Find(props) {
    const [text, show] = React.useState("");
    const [isDue, due] = React.useState(false);
    const found = props.found || { of: "", matches: [], words: "" };
    const isFound = Boolean(text) && found.of === text;

    function choose(match) {
      due(false);
      show("");
      props.setProps({ typed: "", value: match });
    }

    React.useEffect(function () {
      if (isDue && isFound) {
        due(false);
        if (found.matches.length) {
          choose(found.matches[0]);
        }
      }
    }, [isDue, isFound]);

    return create("form", { onSubmit: function (event) { event.preventDefault(); due(Boolean(text)); } }, [
      labelOf(props),
      create("input", {
        key: "input", id: props.id, type: "search", className: "field", list: props.id + "-list", value: text,
        placeholder: props.placeholder, autoComplete: "off", spellCheck: false, "aria-describedby": props.id + "-words",
        onChange: function (event) {
          const typed = event.target.value;
          const isPicked = ["insertReplacementText", undefined].includes(event.nativeEvent.inputType);
          due(false);
          if (isPicked && found.matches.includes(typed)) {
            choose(typed);
          } else {
            show(typed);
            props.setProps({ typed: typed });
          }
        },
      }),
      create("datalist", { key: "list", id: props.id + "-list" }, found.matches.map(function (match) {
        return create("option", { key: match, value: match });
      })),
      create("p", { key: "words", id: props.id + "-words", className: "found-words", role: "status" }, isFound ? found.words : ""),
    ]);
  }

  // Fields in groups, all told at once when the reader asks. React holds none of them, and the browser is asked not to.
  function Sheet(props) {
    const frame = React.useRef(null);
    const fold = React.useRef(null);

    function field(row, name, labels) {
      const shared = {
        key: name, id: props.id + "-" + name, name: name, className: "field", autoComplete: "off", "aria-labelledby": labels,
      };
      return row.options.length
        ? create("select", shared, [{ value: "", label: "" }].concat(row.options).map(function (option) {
          return create("option", { key: option.value, value: option.value }, option.label);
        }))
        : create("input", Object.assign(shared, row.isText ? { type: "text", spellCheck: false } : { type: "number", step: "any" }));
    }

    // A field that is of no side stands in the first column.
    function rowOf(row, group, n) {
      const id = props.id + "-" + row.names[0] + "-label";
      const unit = row.unit ? create("span", { key: "unit", className: "sheet-unit" }, row.unit) : null;
      return [
        create("span", { key: id, id: id, className: "sheet-label" }, row.words, unit && " ", unit),
      ].concat(row.names.map(function (name, place) {
        return field(row, name, row.names[1] ? id + " " + props.id + "-" + n + "-" + place : id);
      }), group.sides.slice(row.names.length).map(function (side) { return create("span", { key: id + side }); }));
    }

    function groupOf(group, n) {
      const sides = [create("span", { key: "none" })].concat(group.sides.map(function (side, place) {
        return create("span", { key: side, id: props.id + "-" + n + "-" + place, className: "sheet-side" }, side);
      }));
      const grid = create("div", { key: "grid", className: "sheet-grid" },
        sides.concat(group.rows.flatMap(function (row) { return rowOf(row, group, n); })));
      return group.isRare
        ? create("details", { key: group.words, className: "sheet-group" }, [create("summary", { key: "words" }, group.words), grid])
        : create("fieldset", { key: group.words, className: "sheet-group" }, [create("legend", { key: "words" }, group.words), grid]);
    }

    // What stands below may be off the screen: the first new answer is brought into sight.
    function showTold() {
      const place = document.getElementById(props.told);
      new MutationObserver(function (_, watch) {
        watch.disconnect();
        // What was typed wrong stays in sight to be mended.
        fold.current.open = Boolean(place.querySelector("[role=alert]"));
        place.focus({ preventScroll: true });
        place.scrollIntoView({ block: "start" });
      }).observe(place, { childList: true });
    }

    function tell(event) {
      event.preventDefault();
      const typed = {};
      frame.current.querySelectorAll(".field").forEach(function (one) {
        typed[one.name] = one.validity.badInput ? "?" : one.value;
      });
      showTold();
      props.setProps({ typed: typed });
    }

    return create("form", {
      ref: frame, id: props.id, className: "sheet", autoComplete: "off", noValidate: true, onSubmit: tell,
      onReset: function () { fold.current.open = true; props.setProps({ typed: null }); },
    }, [
      create("details", { key: "fold", ref: fold, open: true }, [
        create("summary", { key: "words" }, props.words),
        create("div", { key: "groups", className: "sheet-groups" }, props.groups.map(groupOf)),
      ]),
      create("p", { key: "buttons", className: "sheet-buttons" }, [
        create("button", { key: "ask", type: "submit", className: "button is-strong" }, props.button),
        create("button", { key: "clear", type: "reset", className: "button" }, "Clear"),
      ]),
    ]);
  }

  window.fitledger = Object.assign(window.fitledger || {}, { Day: Day, OneOf: OneOf, Several: Several, Find: Find, Sheet: Sheet });
})();
