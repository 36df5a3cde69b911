// The reader's looks at the Studio page, kept in this browser alone: four figures and the day, for each selection. Where readers
// sign in, each has looks of their own: those of another reader go as the page opens, and all go with signing out (fitledger.js).
(function () {
  "use strict";
  const KEPT = 24;

  function key() {
    const reader = document.querySelector("[data-reader]");
    return "fitledger-looks" + (reader ? "-" + reader.dataset.reader : "");
  }

  function looks() {
    try {
      window.fitledgerForgetLooks(key());
      const kept = JSON.parse(window.localStorage.getItem(key()) || "{}");
      return kept && typeof kept === "object" && !Array.isArray(kept) ? kept : {};
    } catch (blocked) {
      return {};
    }
  }

  function day(entry) {
    return (entry && entry.last && entry.last.on) || "";
  }

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    fitledger_looks: {
      // Today by the reader's own clock, and the looks before this one.
      read: function (view) {
        if (view === null || view === undefined) {
          return window.dash_clientside.no_update;
        }
        const now = new Date();
        const two = function (number) { return String(number).padStart(2, "0"); };
        return { today: now.getFullYear() + "-" + two(now.getMonth() + 1) + "-" + two(now.getDate()), looks: looks() };
      },

      // The selections looked at last are kept; the oldest gives way.
      keep: function (look) {
        if (!look) {
          return window.dash_clientside.no_update;
        }
        const kept = Object.assign(looks(), { [look.key]: look.entry });
        const newest = Object.entries(kept).sort(function (one, other) {
          return day(other[1]).localeCompare(day(one[1])) || (other[0] === look.key) - (one[0] === look.key);
        });
        try {
          window.localStorage.setItem(key(), JSON.stringify(Object.fromEntries(newest.slice(0, KEPT))));
        } catch (blocked) {
          // A browser that keeps nothing has a first look each time.
        }
        return window.dash_clientside.no_update;
      },
    },
  });
})();
