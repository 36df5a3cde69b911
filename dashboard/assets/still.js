// Draws a still piece of page: elements that no callback reads or writes (components/still.py). React escapes what is text.
(function () {
  "use strict";
  const create = window.React.createElement;

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

  function drawn(part) {
    if (!Array.isArray(part)) {
      return part;
    }
    const isLink = part[0] === "dcc.Link";
    const attributes = Object.assign({}, part[1], isLink ? { onClick: follow } : null);
    if (attributes.href) {
      attributes.href = window.dash_clientside.clean_url(attributes.href);
    }
    return create.apply(null, [isLink ? "a" : part[0], attributes].concat(part.slice(2).map(drawn)));
  }

  window.fitledger = {
    Still: function (props) {
      return drawn(props.tree);
    },
  };
})();
