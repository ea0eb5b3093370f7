"use strict";
// Livelier pages: how far a search is, ticks that last, word of a newer plan. The pages do without this script.
(() => {
  const EVERY_MS = { going: 1000, resting: 5000 };
  const desk = document.getElementById("desk");
  const part = (id) => document.getElementById(id);
  const put = (id, text) => {
    if (part(id).textContent !== text) part(id).textContent = text;
  };
  const get = async (address) => {
    const answer = await fetch(address, { cache: "no-store" });
    if (!answer.ok) throw new Error(answer.status);
    return answer.json();
  };

  const look = async () => {
    const working = part("working");
    const under_way = part("under-way");
    let told = { going: Boolean(working) };
    try {
      told = await get("/progress");
      if (working && !told.going) return location.replace("/working");
      if (working) {
        for (const id of ["stage", "found", "time"]) put(id, told[id]);
        part("lost").hidden = true;
      } else {
        part("newer").hidden = told.mark === desk.dataset.mark;
        if (under_way && !told.going) under_way.hidden = true;
      }
    } catch {
      if (working) part("lost").hidden = false;
    }
    setTimeout(look, told.going ? EVERY_MS.going : EVERY_MS.resting);
  };
  setTimeout(look, 500);

  // What is ticked is known by its day and its words, so it is still ticked in a new plan that has it.
  const boxes = new Map();
  for (const box of document.querySelectorAll(".todo input[type=checkbox]")) {
    const day = box.closest(".onday").querySelector("h3, h4").textContent;
    const words = `${day}: ${box.parentElement.textContent}`.replace(/\s+/g, " ").trim().slice(0, 500);
    boxes.set(words, [...(boxes.get(words) || []), box]);
    box.addEventListener("change", () => {
      const body = new URLSearchParams({ words, done: box.checked ? "1" : "0", form_token: desk.dataset.formToken });
      fetch("/tick", { method: "POST", body, keepalive: true })
        .then((answer) => {
          if (!answer.ok) throw new Error(answer.status);
        })
        .catch(() => {
          box.checked = !box.checked;
        });
    });
  }
  const show_ticks = async () => {
    try {
      const ticked = new Set(await get("/ticks"));
      for (const [words, same] of boxes) for (const box of same) box.checked = ticked.has(words);
    } catch {
      // the program has ended: what is ticked stays as it is shown
    }
  };
  if (boxes.size) {
    show_ticks();
    document.addEventListener("visibilitychange", () => document.hidden || show_ticks());
  }
})();
