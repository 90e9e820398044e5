"use strict";
// Saves a drawing as it is shown, for whoever wants to show it elsewhere: as an SVG with the page's colours written out,
// or as a PNG of twice its size. It is made here; nothing is asked of a network.
const pictures = (() => {
  const picture = (svg) => {
    const copy = svg.cloneNode(true), root = getComputedStyle(document.documentElement), { width, height } = svg.viewBox.baseVal;
    const colour = (name) => root.getPropertyValue(name).trim();
    copy.querySelectorAll(".cursor").forEach((line) => line.remove());
    for (const node of copy.querySelectorAll("[style]")) {
      node.setAttribute("style", node.getAttribute("style").replace(/var\((--\w+)\)/g, (_, name) => colour(name)));
    }
    copy.insertAdjacentHTML("afterbegin", `<rect width="${width}" height="${height}" fill="${colour("--paper")}"/>`);
    const face = getComputedStyle(document.body).fontFamily;
    for (const [key, value] of Object.entries({ width, height, "font-family": face })) copy.setAttribute(key, value);
    for (const key of ["data-x", "data-panels", "tabindex"]) copy.removeAttribute(key);
    return { text: new XMLSerializer().serializeToString(copy), width, height };
  };
  const asPng = async ({ text, width, height }) => {
    const image = new Image(), canvas = document.createElement("canvas");
    image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(text)}`;
    await image.decode();
    Object.assign(canvas, { width: 2 * width, height: 2 * height });
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    return new Promise((done) => canvas.toBlob(done, "image/png"));
  };
  const save = async (figure, kind) => {
    // Of the drawings for a wide and a narrow screen the one that is shown.
    const svg = [...figure.querySelectorAll("svg")].find((each) => each.getClientRects().length);
    const drawn = picture(svg), log = figure.closest("[data-log]")?.dataset.log ?? document.title;
    const name = `${log} ${svg.getAttribute("aria-label").split(",")[0]}`.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-");
    const link = document.createElement("a");
    link.href = URL.createObjectURL(kind === "png" ? await asPng(drawn) : new Blob([drawn.text], { type: "image/svg+xml" }));
    link.download = `${name.replace(/^-|-$/g, "").slice(0, 80)}.${kind}`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  };

  for (const button of document.querySelectorAll("[data-save]")) {
    button.addEventListener("click", () => save(button.closest("figure"), button.dataset.save));
  }
  return { picture, asPng };
})();
