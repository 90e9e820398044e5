// Follows a capture: what the live page and the stage share. Its states are put in as text and never as markup.
"use strict";

const SILENCE_MS = 10000; // a state comes twice a second; after so long without one the figures are called old
const MARK = { act: "▲", watch: "◆", note: "●" };
const WORDS = {
  live: "Live.",
  ended: "The capture has ended. These are its last figures.",
  refused: "The capture does not let this page in: open it by a new link from its terminal. These figures are old.",
  lost: "The capture cannot be reached: it has been stopped, or is out of reach. These figures are old; trying again …",
  silent: "Nothing has come from the capture for a while. These figures are old.",
};
let source = null;
let heard = 0;
let ended = false;

const byId = (id) => document.getElementById(id);

function put(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function make(tag, className, ...inside) {
  const node = document.createElement(tag);
  if (className) node.className = className;
  node.append(...inside);
  return node;
}

function link(mark, text, stale) {
  put(byId("link-mark"), mark);
  put(byId("link"), text);
  byId("state").classList.toggle("stale", stale);
  byId("main").classList.toggle("gone", stale);
}

/** Begin to take states; `show` is given each. */
function follow(show) {
  if (source || ended) return;
  source = new EventSource("/updates");
  source.onmessage = (event) => take(JSON.parse(event.data), show);
  source.onerror = () => {
    const refused = source.readyState === EventSource.CLOSED;
    link("✕", refused ? WORDS.refused : WORDS.lost, true);
  };
}

function leave() {
  if (source) source.close();
  source = null;
}

function take(state, show) {
  heard = Date.now();
  ended = state.ended;
  put(byId("title"), state.title);
  put(byId("time"), state.time + ".");
  if (document.title !== "Live: " + state.title) document.title = "Live: " + state.title;
  if (ended) {
    link("■", WORDS.ended, false);
    leave();
  } else {
    link("●", WORDS.live, false);
  }
  show(state);
}

/** Follow for as long as the page is seen: a browser has few connections, and a phone little battery. */
function followWhileSeen(show) {
  document.addEventListener("visibilitychange", () => (document.hidden ? leave() : follow(show)));
  setInterval(() => {
    if (!ended && source && heard && Date.now() - heard > SILENCE_MS) {
      link("✕", WORDS.silent, true);
    }
  }, 1000);
  follow(show);
}

/** Let a key do something, but not where it is typed with another one or held down. */
function onKey(letter, act) {
  document.addEventListener("keydown", (event) => {
    const alone = !event.ctrlKey && !event.metaKey && !event.altKey && !event.repeat;
    if (alone && event.key.toLowerCase() === letter) act();
  });
}
