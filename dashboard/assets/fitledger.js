// The few things only the browser knows: which theme it shows, where the focus is, what is printed.
(function () {
  "use strict";
  const KEY = "fitledger-theme";

  function kept() {
    try {
      return window.localStorage.getItem(KEY);
    } catch (blocked) {
      return null;
    }
  }

  function keep(theme) {
    try {
      window.localStorage.setItem(KEY, theme);
    } catch (blocked) {
      // A browser that keeps nothing follows the system again next time.
    }
  }

  function current() {
    const set = document.documentElement.dataset.theme || kept();
    if (set === "dark" || set === "light") {
      return set;
    }
    return window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  }

  document.documentElement.dataset.theme = current();

  // Earlier versions kept figures that a reader had looked at.
  try {
    Object.keys(window.localStorage).filter(function (key) { return key.startsWith("fitledger-looks"); }).forEach(function (key) {
      window.localStorage.removeItem(key);
    });
  } catch (blocked) {
    // A browser that keeps nothing has nothing to forget.
  }

  // The other tabs of this browser go to the sign-in page too.
  const SIGNED_OUT = "fitledger-signed-out";
  document.addEventListener("submit", function (event) {
    if (!event.target.closest(".signed-in")) {
      return;
    }
    try {
      window.localStorage.setItem(SIGNED_OUT, String(Date.now()));
      window.localStorage.removeItem(SIGNED_OUT);
    } catch (blocked) {
      // The other tabs find out with their next question.
    }
  });
  window.addEventListener("storage", function (event) {
    if (event.key === SIGNED_OUT && event.newValue) {
      // The session ends a moment after the form was sent.
      window.setTimeout(function () { window.location.reload(); }, 1000);
    }
  });

  // A choice is drawn anew with its answer, once or more often and after its page or before it: the focus stays on what was chosen
  // until the reader does something else.
  let chosenLast = null;
  document.addEventListener("click", function (event) {
    const choices = event.target.closest && event.target.closest("[data-choices]");
    chosenLast = choices && choices.dataset.choices;
  });
  ["keydown", "focusin"].forEach(function (kind) {
    document.addEventListener(kind, function (event) {
      const choices = event.target.closest && event.target.closest("[data-choices]");
      if (chosenLast && event.target !== document.body && (!choices || choices.dataset.choices !== chosenLast)) {
        chosenLast = null;
      }
    });
  });
  new MutationObserver(function () {
    if (chosenLast && document.activeElement === document.body) {
      const chosen = document.querySelector('[data-choices="' + chosenLast + '"] .is-chosen');
      if (chosen) {
        chosen.focus({ preventScroll: true });
      }
    }
  }).observe(document.body, { childList: true, subtree: true });

  // A word of the selection that is taken away takes its link along; the focus goes to the next one.
  document.addEventListener("click", function (event) {
    const chosen = document.getElementById("chosen");
    if (!chosen || !chosen.contains(event.target)) {
      return;
    }
    const watch = new MutationObserver(function () {
      if (document.activeElement === document.body) {
        const next = Array.from(chosen.querySelectorAll("a")).find(function (link) { return link.offsetParent; });
        (next || document.getElementById("more-filters")).focus();
      }
      watch.disconnect();
    });
    watch.observe(chosen, { childList: true, subtree: true });
  });

  let arrivedAt = null;

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    fitledger: {
      // Data for the figures, and what the button would change to.
      theme: function (clicks) {
        let theme = current();
        if (clicks) {
          theme = theme === "dark" ? "light" : "dark";
          keep(theme);
        }
        document.documentElement.dataset.theme = theme;
        return [theme, theme === "dark" ? "Light" : "Dark"];
      },

      // Marks the page's link, names the document, leads older anchors on, and moves the focus to the heading after a change of
      // page.
      arrive: function (page, links, pathname) {
        window.requestAnimationFrame(function () {
          const heading = document.getElementById("page-title");
          const home = (heading && heading.dataset.home) || pathname;
          document.querySelectorAll("#navigation a").forEach(function (link) {
            if (new URL(link.href).pathname === home) {
              link.setAttribute("aria-current", "page");
            } else {
              link.removeAttribute("aria-current");
            }
          });
          if (!heading) {
            return;
          }
          const moved = JSON.parse(heading.dataset.moved || "{}")[window.location.hash.slice(1)];
          if (moved) {
            window.location.replace(moved + window.location.search);
            return;
          }
          document.title = (heading.dataset.title || heading.textContent) + " – fitledger";
          if (arrivedAt !== null && arrivedAt !== pathname) {
            heading.focus({ preventScroll: true });
            window.scrollTo(0, 0);
          }
          arrivedAt = pathname;
        });
        return "page";
      },

      toggle: function (clicks, expanded) {
        const open = expanded !== "true";
        return ["filter-bar" + (open ? " is-open" : ""), String(open), open ? "Fewer filters" : "More filters"];
      },
    },
  });
})();
