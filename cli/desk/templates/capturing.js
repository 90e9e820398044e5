// Follows a capture while its page is seen, and sends notes without leaving the page; without it links and forms do.
"use strict";
(() => {
  const figures = document.querySelector("[data-figures]");
  const parsed = (text) => new DOMParser().parseFromString(text, "text/html");
  async function follow() {
    if (!document.hidden) {
      const answer = await fetch(figures.dataset.figures).catch(() => null);
      if (answer && answer.status === 204) { location.reload(); return; }
      // The desk has escaped every text in it, and its policy lets nothing in it run.
      if (answer && answer.ok) figures.replaceChildren(...parsed(await answer.text()).body.childNodes);
      figures.classList.toggle("gone", !answer || !answer.ok);
    }
    setTimeout(follow, 1000);
  }
  document.addEventListener("submit", async (event) => {
    const form = event.target.closest("[data-note]");
    if (!form) return;
    event.preventDefault();
    const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form, event.submitter)) }).catch(() => null);
    const newer = answer && parsed((await answer.text()).replace(/<style[^]*?<\/style>/g, "")).getElementById("notes");
    if (!newer) { location.reload(); return; }
    document.getElementById("notes").replaceWith(newer);
    document.getElementById("text").focus();
  });
  setTimeout(follow, 1000);
})();
