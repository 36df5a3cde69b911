// What is said on a page and kept in the logbook: marks of calls, tasks, notes (components/entering.py). What is typed leaves in the
// body of one request and is shown as text, never as markup.
(function () {
  "use strict";

  function made(tag, attributes, children) {
    const element = document.createElement(tag);
    Object.keys(attributes || {}).forEach(function (name) { element.setAttribute(name, attributes[name]); });
    (children || []).forEach(function (child) { element.append(child); });
    return element;
  }

  function send(what) {
    const prefix = document.querySelector(".kept-views").dataset.prefix;
    const headers = { "Content-Type": "application/json", "X-Fitledger": "entries" };
    const options = { method: "POST", headers: headers, cache: "no-store", body: JSON.stringify(what) };
    return window.fetch(prefix + "entries", options).then(function (response) {
      return response.json().catch(function () { return {}; }).then(function (told) {
        if (!response.ok) {
          throw new Error(told.words || "This was not kept. Load the page again.");
        }
        return told.words;
      });
    });
  }

  // A still piece is drawn anew as a whole, so that what is added here stands within what the page gave.
  function said(place, words, isFault) {
    let line = place.querySelector(":scope > .entry-said");
    if (!line) {
      line = made("p", { class: "entry-said", role: "status", tabindex: "-1" });
      place.append(line);
    }
    line.classList.toggle("is-fault", Boolean(isFault));
    line.textContent = words;
    return line;
  }

  function kept(words) {
    const again = made("button", { type: "button", class: "button" }, ["Show it"]);
    again.addEventListener("click", function () { window.location.reload(); });
    return made("p", { class: "entry-said", role: "status" }, [words, " ", again]);
  }

  function dayField(label) {
    const field = made("input", { type: "date", required: "", class: "field" });
    return { field: field, label: made("label", {}, [label, field]) };
  }

  function mark(bar, name, day) {
    const buttons = bar.querySelectorAll("button");
    buttons.forEach(function (button) { button.disabled = true; });
    send({ do: "mark", session: bar.dataset.session, mark: name, day: day || "" }).then(function (words) {
      bar.replaceChildren();
      const back = made("button", { type: "button", class: "call-mark", "data-mark": "waiting", "data-dated": "no" }, ["Take back"]);
      said(bar, words + " ").append(" ");
      bar.append(back);
      if (name === "waiting") {
        back.remove();
        said(bar, "Back on the list when the page is loaded again.");
      }
      bar.querySelector(".entry-said").focus();
      toldSince(bar, name !== "waiting");
    }).catch(function (fault) {
      buttons.forEach(function (button) { button.disabled = false; });
      said(bar, fault.message, true);
    });
  }

  // The count at the top is of the list as it was opened, and says so.
  function toldSince(bar, isOff) {
    const view = bar.closest("main");
    const line = view.querySelector(".marked-since");
    bar.classList.toggle("is-marked", isOff);
    if (line) {
      const n = view.querySelectorAll(".call-marks.is-marked").length;
      const again = made("button", { type: "button", class: "button" }, ["Count again"]);
      again.addEventListener("click", function () { window.location.reload(); });
      line.replaceChildren();
      if (n) {
        line.append(n + (n === 1 ? " call" : " calls") + " marked since this was counted. ", again);
      }
    }
  }

  function askDay(bar, button) {
    const open = bar.querySelector("form");
    if (open) {
      open.remove();
    }
    const day = dayField(button.textContent.replace("…", ""));
    const form = made("form", { class: "mark-day" }, [day.label, made("button", { type: "submit", class: "call-mark" }, ["Keep"])]);
    form.addEventListener("submit", function (event) {
      event.preventDefault();
      mark(bar, button.dataset.mark, day.field.value);
    });
    bar.append(form);
    day.field.focus();
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest(".call-marks button[data-mark]");
    if (!button) {
      return;
    }
    const bar = button.closest(".call-marks");
    if (button.dataset.dated === "yes") {
      askDay(bar, button);
    } else {
      mark(bar, button.dataset.mark);
    }
  });

  document.addEventListener("keydown", function (event) {
    const bar = event.target.matches && event.target.matches("button[data-mark]") && event.target.closest(".call-marks");
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (!bar || !step) {
      return;
    }
    event.preventDefault();
    const buttons = Array.from(bar.querySelectorAll("button[data-mark]"));
    const next = buttons[(buttons.indexOf(event.target) + step + buttons.length) % buttons.length];
    buttons.forEach(function (one) { one.tabIndex = one === next ? 0 : -1; });
    next.focus();
  });

  function fields(control) {
    const longest = control.dataset.longest;
    const isNew = !control.dataset.entry;
    const sort = control.dataset.sort || "task";
    const isNote = sort === "note";
    const asked = { note: "What changed", goal: "Goal, as 75% or 2.5", task: "What to do" };
    const words = isNew ? asked[sort] : "What came of it";
    const text = made("input", { type: "text", maxlength: longest, autocomplete: "off", class: "field" });
    text.required = isNew;
    const parts = [made("label", { class: "is-wide" }, [words, text])];
    const given = { text: text };
    if (isNew) {
      const day = dayField({ note: "On", goal: "Counts from (today if empty)", task: "Until" }[sort]);
      day.field.required = isNote;
      given.day = day.field;
      if (sort === "task") {
        given.who = made("input", { type: "text", maxlength: "100", autocomplete: "off", class: "field" });
        parts.push(made("label", {}, ["Who", given.who]));
      }
      parts.push(day.label);
      if (isNote) {
        given.freezes = made("input", { type: "checkbox" });
        parts.push(made("label", { class: "is-box" }, [given.freezes, "Freeze the limits anew from this day on"]));
      }
    }
    return { parts: parts, given: given };
  }

  function draw(control) {
    const body = control.querySelector(".entry-body");
    if (body.childElementCount) {
      return;
    }
    const isNew = !control.dataset.entry;
    const drawn = fields(control);
    const ends = isNew ? [["add", "Keep"]] : [["done", "Done"], ["dropped", "Drop"]];
    const buttons = ends.map(function (end) { return made("button", { type: "submit", class: "button", value: end[0] }, [end[1]]); });
    const form = made("form", { class: "entry-form" }, drawn.parts.concat([made("span", { class: "entry-ends" }, buttons)]));
    form.addEventListener("submit", function (event) {
      event.preventDefault();
      const what = { sort: control.dataset.sort || "task" };
      Object.keys(drawn.given).forEach(function (name) {
        if (name !== "freezes") {
          what[name] = drawn.given[name].value;
        }
      });
      if (isNew) {
        const isFrozen = drawn.given.freezes && drawn.given.freezes.checked;
        Object.assign(what, { do: "add", kind: control.dataset.kind, key: isFrozen ? "limits" : control.dataset.key });
        what.address = window.location.pathname + window.location.search;
      } else {
        Object.assign(what, { do: "say", entry: control.dataset.entry, state: event.submitter ? event.submitter.value : "done" });
      }
      send(what).then(function (words) {
        body.replaceChildren(kept(words));
        body.querySelector("button").focus();
      }).catch(function (fault) { said(body, fault.message, true); });
    });
    body.replaceChildren(form);
    form.querySelector("input").focus();
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest("button[data-drop]");
    if (!button) {
      return;
    }
    const line = button.closest("li");
    button.disabled = true;
    send({ do: "say", sort: "goal", entry: button.dataset.drop, state: "dropped" }).then(function (words) {
      line.replaceChildren(kept(words));
      line.querySelector("button").focus();
    }).catch(function (fault) {
      button.disabled = false;
      said(line, fault.message, true);
    });
  });

  // A toggle does not bubble, so that it is met on its way down.
  document.addEventListener("toggle", function (event) {
    const control = event.target;
    if (control.classList && control.classList.contains("entry") && control.open) {
      draw(control);
    }
  }, true);
})();
