// The words that are explained: the button in the header opens the panel (components/definitions), and a word that is marked in
// the text opens it at that word. Words are marked without touching the page: as ranges that the style sheet underlines. They are no
// stops of the keyboard, which has the button.
(function () {
  "use strict";
  const MARK = "explained";
  const WAIT_MS = 200;
  const TEXT = ":is(p, li, figcaption, caption, td, th, h2, h3)";
  const APART = "a, button, summary, svg, .for-readers, .words";
  let marked = [];
  let timer = null;

  function panel() {
    return document.getElementById("words");
  }

  function show(section) {
    panel().showPopover();
    panel().querySelectorAll(".is-asked").forEach(function (one) { one.classList.remove("is-asked"); });
    if (section) {
      section.classList.add("is-asked");
      section.scrollIntoView({ block: "center" });
    } else {
      panel().scrollTop = 0;
    }
    panel().focus({ preventScroll: true });
  }

  // Each spelling with its section; the longer ones are looked for first.
  function spellings() {
    return Array.from(panel().querySelectorAll("[data-spelt]")).flatMap(function (section) {
      return section.dataset.spelt.split("|").map(function (words) { return { words: words, section: section }; });
    }).sort(function (one, other) { return other.words.length - one.words.length; });
  }

  // The first time that a word stands in each part of the page.
  function mark() {
    const known = spellings();
    const pattern = new RegExp("\\b(" + known.map(function (one) { return one.words; }).join("|") + ")\\b", "gi");
    marked = Array.from(document.querySelectorAll("#page .answer")).flatMap(function (part) {
      const met = new Set();
      const found = [];
      const texts = document.createTreeWalker(part, NodeFilter.SHOW_TEXT);
      while (texts.nextNode()) {
        const node = texts.currentNode;
        const around = node.parentElement;
        if (!around.closest(TEXT) || around.closest(APART)) {
          continue;
        }
        Array.from(node.data.replace(/\u00a0/g, " ").matchAll(pattern)).forEach(function (match) {
          const section = known.find(function (one) { return one.words === match[0].toLowerCase(); }).section;
          if (!met.has(section)) {
            met.add(section);
            const range = document.createRange();
            range.setStart(node, match.index);
            range.setEnd(node, match.index + match[0].length);
            found.push({ range: range, section: section });
          }
        });
      }
      return found;
    });
    window.CSS.highlights.set(MARK, new window.Highlight(...marked.map(function (one) { return one.range; })));
  }

  function at(event) {
    return marked.find(function (one) {
      return Array.from(one.range.getClientRects()).some(function (box) {
        return event.clientX >= box.left && event.clientX <= box.right && event.clientY >= box.top && event.clientY <= box.bottom;
      });
    });
  }

  document.addEventListener("click", function (event) {
    if (event.target.closest("#words-button")) {
      show(null);
      return;
    }
    const inText = event.target.closest("#page .answer") && !event.target.closest(APART) && window.getSelection().isCollapsed;
    const word = inText && at(event);
    if (word) {
      show(word.section);
    }
  });

  if (window.CSS.highlights) {
    document.addEventListener("mousemove", function (event) {
      const text = event.target.closest && event.target.closest(TEXT);
      if (text) {
        text.style.cursor = at(event) ? "help" : "";
      }
    }, { passive: true });
    new MutationObserver(function () {
      window.clearTimeout(timer);
      timer = window.setTimeout(mark, WAIT_MS);
    }).observe(document.documentElement, { childList: true, subtree: true });
  }
})();
