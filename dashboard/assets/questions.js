// What the browser asks the server. The layout and the list of callbacks came with the page; the first answers are asked for
// while the other scripts are still read, so that they are there when the page asks for them.
(function () {
  "use strict";
  const QUESTION = "_dash-update-component";
  // Tells the server which tab asks, in which order and from which page, so that it computes nothing for a view that this
  // tab has left. The name is random, made anew with every loading of the page, and kept nowhere.
  const tab = Array.from(window.crypto.getRandomValues(new Uint8Array(16)), function (byte) {
    return byte.toString(16).padStart(2, "0");
  }).join("");
  const plainFetch = window.fetch;
  const first = JSON.parse(document.getElementById("first-questions").textContent);
  const early = new Map();
  let asked = 0;

  function ask(address, options) {
    const headers = new Headers(options.headers);
    asked += 1;
    headers.set("Fitledger-Tab", tab + " " + asked + " " + encodeURI(window.location.pathname));
    const answer = plainFetch.call(window, address, Object.assign({}, options, { headers: headers }));
    // The session has ended: the page asked anew leads to signing in, and back here.
    answer.then(function (response) {
      if (response.status === 401) {
        window.location.reload();
      }
    }, function () {});
    return answer;
  }

  function inputsOf(view, theme) {
    return [
      { id: "view", property: "data", value: view },
      { id: "theme", property: "data", value: theme },
    ];
  }

  function key(question) {
    const values = question.inputs.map(function (input) { return [input.id, input.property, input.value]; });
    return JSON.stringify([question.output, values, question.state || []]);
  }

  // An answer that was asked for early is given once; a view that the reader has left meanwhile has another key.
  function taken(question) {
    const answer = early.get(key(question));
    early.delete(key(question));
    return answer;
  }

  // A part of the layout by its id.
  function find(part, id) {
    if (Array.isArray(part)) {
      return part.reduce(function (found, one) { return found || find(one, id); }, null);
    }
    const props = part && part.props;
    return props ? (props.id === id ? part : find(props.children, id)) : null;
  }

  // What came with the page, in the form in which it is asked for. Only the browser knows the theme.
  function brought(name) {
    const script = document.querySelector('script[data-answers="' + name + '"]');
    if (!script) {
      return null;
    }
    script.remove();
    const answer = JSON.parse(script.textContent);
    const store = find(answer, "theme");
    if (store) {
      [store.props.data, find(answer, "theme-button").props.children] = window.dash_clientside.fitledger.theme();
    }
    return Promise.resolve(new Response(JSON.stringify(answer), { headers: { "Content-Type": "application/json" } }));
  }

  window.fetch = function (address, options) {
    const name = String(address).split("?")[0].split("/").pop();
    if (name === QUESTION && options && options.method === "POST") {
      return taken(JSON.parse(options.body)) || ask(address, options);
    }
    return brought(name) || plainFetch.apply(window, arguments);
  };

  const inputs = inputsOf(first.view, document.documentElement.dataset.theme);
  first.places.forEach(function (place) {
    const question = {
      output: place + ".children",
      outputs: { id: place, property: "children" },
      inputs: inputs,
      changedPropIds: ["view.data", "theme.data"],
    };
    early.set(key(question), ask(first.address, {
      method: "POST",
      headers: { "Content-Type": "application/json", Accept: "application/json" },
      credentials: "same-origin",
      body: JSON.stringify(question),
    }));
  });
})();
