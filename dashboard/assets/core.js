// The two core components that the pages use, where the library's bundle brings thirty: it took a tenth of the first view.
// Its own Python classes stay. Links and charts are drawn with the still pieces (still.js).
(function () {
  "use strict";
  const React = window.React;
  const PARTS = ["pathname", "search"];

  // What the address bar says, told to the page whenever it changes; and the other way round.
  function Location(props) {
    const latest = React.useRef(props);
    latest.current = props;
    React.useEffect(function () {
      function tell() {
        const changed = PARTS.filter(function (part) { return latest.current[part] !== window.location[part]; });
        if (changed.length) {
          latest.current.setProps(Object.fromEntries(changed.map(function (part) { return [part, window.location[part]]; })));
        }
      }
      const signs = ["popstate", "_dashprivate_pushstate"];
      signs.forEach(function (sign) { window.addEventListener(sign, tell); });
      tell();
      return function () {
        signs.forEach(function (sign) { window.removeEventListener(sign, tell); });
      };
    }, []);
    const isMounted = React.useRef(false);
    React.useEffect(function () {
      if (isMounted.current && PARTS.some(function (part) { return props[part] !== window.location[part]; })) {
        window.history.pushState({}, "", props.pathname + props.search);
      }
      isMounted.current = true;
    }, [props.pathname, props.search]);
    return null;
  }

  // Holds a value for the callbacks; nothing is drawn, and nothing is kept beyond the page.
  function Store() {
    return null;
  }

  window.dash_core_components = { Location: Location, Store: Store };
})();
