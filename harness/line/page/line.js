"use strict";
// Nothing is decided and nothing is kept here: the screen is what the station says it is.
(() => {
  const QUIET_MS = 4000; // a stream says something every second
  const KEY_GAP_MS = 2000; // the keys of a scanner come within milliseconds of each other; what lies about longer is none of it
  const SECOND_ENTER_MS = 800;
  const at = (id) => document.getElementById(id);
  let view = null;
  let typed = "";
  let typedAt = 0;
  let scannedAt = -Infinity;
  let heardAt = performance.now();

  function send(path, content) {
    return fetch(path, {
      method: "POST", headers: { "content-type": "application/json", "x-line": "1" }, body: JSON.stringify(content),
    }).then((answer) => (answer.ok ? answer.json() : null)).then((fresh) => { if (fresh) show(fresh); }).catch(() => {});
  }
  const press = (button) => send("/press", { button });
  const scan = (text) => send("/scan", { text });

  function fill(parent, children) { parent.replaceChildren(...children); }
  function made(tag, text) {
    const element = document.createElement(tag);
    element.textContent = text;
    return element;
  }

  function show(fresh) {
    heardAt = performance.now();
    if (view && fresh.count < view.count && fresh.started === view.started) return;
    const buttons = JSON.stringify(fresh.buttons);
    const same = view && JSON.stringify(view.buttons) === buttons && view.screen === fresh.screen;
    view = fresh;
    document.body.dataset.tone = view.tone;
    document.body.dataset.screen = view.screen;
    document.body.dataset.count = view.count;
    document.body.classList.toggle("big", view.big);
    document.body.classList.toggle("short", view.title.length < 6);
    document.body.classList.toggle("long", view.title.length > 8);
    document.documentElement.lang = view.language;
    for (const id of ["place", "operator", "unit", "title", "message", "engineer", "takt", "caution"]) at(id).textContent = view[id];
    document.title = `${view.title} - ${view.place}`;
    at("shape").style.display = view.shape ? "" : "none";
    at("shape").firstElementChild.setAttribute("href", view.shape ? `#${view.shape}` : "");
    fill(at("lines"), view.lines.map((line) => made("p", line)));
    fill(at("locks"), view.locks.map((lock) => {
      const item = document.createElement("li");
      item.append(made("b", lock.text), made("span", lock.lift), made("small", [lock.code, lock.detail].filter(Boolean).join(" · ")));
      return item;
    }));
    at("picture").style.display = view.picture ? "" : "none";
    if (view.picture && !at("picture").getAttribute("src")) at("picture").src = "/picture.svg";
    at("bar").style.display = view.bar ? "" : "none";
    if (view.bar) {
      at("fill").style.width = `${(100 * view.bar.done) / view.bar.planned}%`;
      at("readings").textContent = view.bar.readings;
      at("left").textContent = view.bar.left;
    }
    // Buttons are made anew only where they change: one that is being pressed must not vanish under the finger.
    if (!same) {
      fill(at("buttons"), view.buttons.map(({ id, label }, index) => {
        const button = made("button", label);
        button.type = "button";
        button.dataset.button = id;
        button.className = id === "stop" ? "stop" : index === 0 && id !== "sign-off" ? "main" : "side";
        // STOP acts when it is touched, not when it is let go.
        button.addEventListener(id === "stop" ? "pointerdown" : "click", () => press(id));
        button.tabIndex = -1;
        return button;
      }));
    }
    at("away").hidden = true;
  }

  // A scanner types like a keyboard and ends with Enter; no field has to have the focus.
  window.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const stale = typed !== "" && event.timeStamp - typedAt > KEY_GAP_MS;
    if (stale) typed = "";
    if (event.key === "Escape") {
      event.preventDefault();
      typed = "";
      if (view && view.escape) press(view.escape);
    } else if (event.key === "Enter") {
      event.preventDefault();
      const text = typed;
      typed = "";
      // Some scanners end with two: the second one is no press.
      if (text) {
        scannedAt = event.timeStamp;
        scan(text);
      } else if (view && view.enter && !event.repeat && !stale && event.timeStamp - scannedAt > SECOND_ENTER_MS) press(view.enter);
    } else if (event.key === "Backspace") {
      typed = typed.slice(0, -1);
    } else if (event.key.length === 1) {
      event.preventDefault();
      typed = (typed + event.key).slice(-500);
      typedAt = event.timeStamp;
    }
  });
  window.addEventListener("contextmenu", (event) => event.preventDefault());

  const stream = () => {
    const events = new EventSource("/events");
    events.addEventListener("screen", (event) => show(JSON.parse(event.data)));
    events.addEventListener("beat", () => { heardAt = performance.now(); at("away").hidden = true; });
    events.onerror = () => {
      // A browser gives up for good on some errors; this page does not.
      if (events.readyState === EventSource.CLOSED) setTimeout(stream, 1000);
    };
  };
  stream();
  setInterval(() => {
    if (performance.now() - heardAt < QUIET_MS) return;
    const away = at("away");
    away.firstElementChild.textContent = view ? view.away : "NO CONNECTION";
    away.lastElementChild.textContent = view ? view.away_more : "";
    away.hidden = false;
  }, 500);
})();
