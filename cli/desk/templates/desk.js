// Files dropped on the desk go up as they are, one after the other; without this script the form sends one.
"use strict";
(() => {
  const form = document.querySelector("[data-drop]");
  if (!form) return;
  const says = form.querySelector("[data-drop-status]"), input = form.querySelector("input[type=file]");
  async function take(files) {
    let last = null;
    for (const file of files) {
      says.textContent = `Copying ${file.name} ...`;
      const answer = await fetch(`/drop?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file }).catch(() => null);
      if (!answer || !answer.ok) {
        const text = answer ? await answer.text() : "The desk does not answer; is it still open in its terminal?";
        try { says.textContent = JSON.parse(text).wrong; } catch { says.textContent = text; }
        return;
      }
      last = (await answer.json()).leads_to;
    }
    if (last) location.href = files.length > 1 ? "/" : last;
  }
  form.addEventListener("submit", (event) => { if (input.files.length) { event.preventDefault(); take([...input.files]); } });
  addEventListener("dragover", (event) => { event.preventDefault(); form.classList.add("over"); });
  addEventListener("dragleave", () => form.classList.remove("over"));
  addEventListener("drop", (event) => { event.preventDefault(); form.classList.remove("over"); take([...event.dataTransfer.files]); });
})();
