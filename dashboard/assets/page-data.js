// Hands files in on the Data page: chosen or dropped, measured before they are sent, sent as they are. The server checks
// again; what it answers is put where the page's own callbacks read it.
(function () {
  "use strict";
  const ZONE = "data-drop";
  const MEGABYTE = 1e6;
  const LOOK_MS = 800;
  let received = null;

  function put(id, props) {
    window.dash_clientside.set_props(id, props);
  }

  function say(words) {
    put("data-said", { children: words });
  }

  // The reader may have gone to another view meanwhile, which has no place for it.
  function step(words) {
    if (document.getElementById("data-step")) {
      put("data-step", { children: words });
    }
  }

  // Shows which step the server is at, for as long as it is at work.
  function watch(zone, token) {
    const working = document.getElementById("data-working");
    if (!working || !working.textContent) {
      step("");
      return;
    }
    window
      .fetch(zone.dataset.address + "/" + token + "/step", { cache: "no-store" })
      .then(function (response) { return response.json(); })
      .then(function (answer) { step(answer.words); })
      .catch(function () { step(""); })
      .then(function () { window.setTimeout(watch, LOOK_MS, zone, token); });
  }

  function counted(files) {
    return files.length === 1 ? "1 file" : files.length + " files";
  }

  function send(zone, files) {
    const total = files.reduce(function (sum, file) { return sum + file.size; }, 0);
    if (!files.length) {
      return;
    }
    if (total > Number(zone.dataset.largest)) {
      say(counted(files) + ", " + (total / MEGABYTE).toFixed(1) + " MB. " + zone.dataset.tooLarge);
      return;
    }
    const body = new FormData();
    files.forEach(function (file) { body.append("files", file, file.name); });
    hand(zone, zone.dataset.address, body, "Sending " + counted(files) + " …");
  }

  // Files that were sent, or the folder that the server names itself: no address of a folder leaves the browser.
  function hand(zone, address, body, words) {
    put("data-findings", { children: null });
    say(words);
    window
      .fetch(address, { method: "POST", body: body, headers: { "X-Fitledger": "upload" }, cache: "no-store" })
      .then(function (response) {
        return response.json();
      })
      .then(function (answer) {
        say(answer.token ? "" : answer.words);
        if (answer.token) {
          received = answer.token;
          put("data-received", { data: { token: received } });
          window.setTimeout(watch, LOOK_MS, zone, received);
        }
      })
      .catch(function () {
        say("The files did not reach the server: the connection broke off, or a file changed meanwhile. Nothing was changed. Choose them again.");
      });
  }

  // A folder has no content of its own; what looks like one is told, the others are sent.
  function dropped(transfer) {
    const items = Array.from(transfer.items || []).filter(function (item) { return item.kind === "file"; });
    const folders = items.filter(function (item) {
      const entry = item.webkitGetAsEntry && item.webkitGetAsEntry();
      return entry && entry.isDirectory;
    });
    if (folders.length) {
      say("A folder cannot be dropped here. Drop the files in it, or pack it as one .zip.");
      return [];
    }
    return Array.from(transfer.files);
  }

  function zoneOf(event) {
    return event.target.closest && event.target.closest("#" + ZONE);
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest("[data-choose], [data-take-back], [data-answer], [data-say], [data-folder], #data-load");
    if (!button) {
      return;
    }
    // An answer to the question of a mapping: the words of the button, or what was typed beside it.
    if (button.dataset.answer || button.dataset.say) {
      const typed = button.dataset.say ? document.getElementById(button.dataset.say).value : button.dataset.answer;
      put("data-saying", { data: { key: button.dataset.key, said: typed, at: Date.now() } });
      return;
    }
    if (button.dataset.folder) {
      const zone = document.getElementById(ZONE);
      hand(zone, zone.dataset.address + "/folder", null, "Looking into " + button.dataset.folder + " …");
      return;
    }
    if (button.dataset.takeBack) {
      put("data-asked", { data: { load: Number(button.dataset.takeBack), at: Date.now() } });
      return;
    }
    if (button.id === "data-load") {
      window.setTimeout(watch, LOOK_MS, document.getElementById(ZONE), received);
      return;
    }
    const picker = document.createElement("input");
    picker.type = "file";
    picker.multiple = true;
    picker.addEventListener("change", function () {
      send(document.getElementById(ZONE), Array.from(picker.files));
    });
    picker.click();
  });

  ["dragenter", "dragover"].forEach(function (kind) {
    document.addEventListener(kind, function (event) {
      const zone = zoneOf(event);
      if (zone) {
        event.preventDefault();
        zone.dataset.over = "";
      }
    });
  });

  document.addEventListener("dragleave", function (event) {
    const zone = zoneOf(event);
    if (zone && !zone.contains(event.relatedTarget)) {
      delete zone.dataset.over;
    }
  });

  document.addEventListener("drop", function (event) {
    const zone = zoneOf(event);
    if (zone) {
      event.preventDefault();
      delete zone.dataset.over;
      send(zone, dropped(event.dataTransfer));
    }
  });

  // What a step tells takes the focus, so that a keyboard or a screen reader goes on from there.
  new MutationObserver(function (changes) {
    changes.forEach(function (change) {
      change.addedNodes.forEach(function (node) {
        const told = node.querySelector && (node.matches("[data-takes-focus]") ? node : node.querySelector("[data-takes-focus]"));
        if (told) {
          told.focus();
        }
      });
    });
  }).observe(document.documentElement, { childList: true, subtree: true });
})();
