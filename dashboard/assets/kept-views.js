// Names for views. Where readers sign in the server keeps them for the account; elsewhere this browser does, under one key. A view
// is an address: page, view and selection. Words that name a rider or a fit are left out, so that none lies in a browser.
(function () {
  "use strict";
  const KEY = "fitledger-views";
  const MOST = 50;
  const LONGEST_NAME = 80;

  function inBrowser() {
    try {
      const kept = JSON.parse(window.localStorage.getItem(KEY) || "[]");
      return Array.isArray(kept) ? kept.filter(function (view) { return view && view.name && view.address; }) : [];
    } catch (blocked) {
      return [];
    }
  }

  function putInBrowser(views) {
    try {
      window.localStorage.setItem(KEY, JSON.stringify(views));
      return views;
    } catch (blocked) {
      throw new Error("This browser keeps nothing for this page: its store is switched off or full.");
    }
  }

  const browser = {
    list: function () { return Promise.resolve(inBrowser()); },
    keep: function (name, address) {
      const others = inBrowser().filter(function (view) { return view.name !== name; });
      if (others.length >= MOST) {
        throw new Error("You keep " + MOST + " views already. Remove one first.");
      }
      const views = others.concat([{ name: name, address: address }]);
      views.sort(function (one, other) { return one.name.localeCompare(other.name); });
      return Promise.resolve(putInBrowser(views));
    },
    remove: function (name) {
      return Promise.resolve(putInBrowser(inBrowser().filter(function (view) { return view.name !== name; })));
    },
  };

  function account(prefix) {
    function ask(options) {
      return window.fetch(prefix + "views", Object.assign({ cache: "no-store" }, options)).then(function (response) {
        return response.json().catch(function () { return {}; }).then(function (told) {
          if (!response.ok) {
            throw new Error(told.words || "The views could not be read. Load the page again.");
          }
          return told.views;
        });
      });
    }
    function change(what) {
      const headers = { "Content-Type": "application/json", "X-Fitledger": "views" };
      return ask({ method: "POST", headers: headers, body: JSON.stringify(what) });
    }
    return {
      list: function () { return ask({}); },
      keep: function (name, address) { return change({ name: name, address: address }); },
      remove: function (name) { return change({ name: name, remove: true }); },
    };
  }

  function made(tag, attributes, children) {
    const element = document.createElement(tag);
    Object.keys(attributes || {}).forEach(function (name) { element.setAttribute(name, attributes[name]); });
    (children || []).forEach(function (child) { element.append(child); });
    return element;
  }

  function addressNow(never) {
    const words = new URLSearchParams(window.location.search);
    never.forEach(function (word) { words.delete(word); });
    const query = words.toString().replaceAll("%2C", ",");
    return window.location.pathname + (query ? "?" + query : "");
  }

  function draw(control) {
    const body = control.querySelector(".kept-views-body");
    const store = control.dataset.keeper === "account" ? account(control.dataset.prefix) : browser;
    const never = control.dataset.neverKept.split(",");
    const field = made("input", { type: "text", maxlength: LONGEST_NAME, required: "", autocomplete: "off" });
    const said = made("p", { role: "status", class: "kept-views-said" });
    const list = made("ul", {});
    const form = made("form", {}, [
      made("label", {}, ["Name of this view", field]),
      made("button", { type: "submit", class: "button" }, ["Keep this view"]),
    ]);

    function show(views) {
      list.replaceChildren.apply(list, views.map(function (view) {
        const remove = made("button", { type: "button", class: "tool" }, ["Remove"]);
        remove.append(made("span", { class: "for-readers" }, [" " + view.name]));
        remove.addEventListener("click", function () {
          run(function () { return store.remove(view.name); }, view.name + " is removed.");
          field.focus();
        });
        // Only an address of this dashboard is ever followed, whatever lies in the store.
        const isOurs = view.address.startsWith(control.dataset.prefix) && !view.address.startsWith("//");
        return made("li", {}, [made("a", { href: isOurs ? view.address : control.dataset.prefix }, [view.name]), " ", remove]);
      }));
      if (!views.length) {
        list.append(made("li", { class: "kept-views-none" }, ["No view is kept yet."]));
      }
    }

    function run(act, words) {
      Promise.resolve().then(act).then(function (views) {
        show(views);
        said.textContent = words;
      }).catch(function (fault) { said.textContent = fault.message; });
    }

    form.addEventListener("submit", function (event) {
      event.preventDefault();
      const name = field.value.split(/\s+/).filter(Boolean).join(" ");
      if (!name) {
        return;
      }
      const without = never.some(function (word) { return new URLSearchParams(window.location.search).has(word); });
      const words = name + " is kept" + (without ? ", without the rider: a kept view names none." : ".");
      run(function () { return store.keep(name, addressNow(never)); }, words);
      field.value = "";
    });
    const where = control.dataset.keeper === "account" ? "Kept with your account." : "Kept in this browser.";
    body.replaceChildren(list, form, said, made("p", { class: "kept-views-where" }, [where]));
    run(store.list, "");
  }

  // A toggle does not bubble, so that it is met on its way down.
  document.addEventListener("toggle", function (event) {
    const control = event.target;
    if (control.classList && control.classList.contains("kept-views") && control.open) {
      draw(control);
    }
  }, true);

  document.addEventListener("keydown", function (event) {
    const control = event.key === "Escape" && event.target.closest && event.target.closest(".kept-views[open]");
    if (control) {
      control.open = false;
      control.querySelector("summary").focus();
    }
  });

  document.addEventListener("click", function (event) {
    document.querySelectorAll(".kept-views[open]").forEach(function (control) {
      // What was removed from the list by this very click is no longer within.
      if (event.target.isConnected && !control.contains(event.target)) {
        control.open = false;
      }
    });
  });
})();
