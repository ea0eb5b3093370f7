"use strict";
// How far the search is, without loading the page anew. The pages do without this script: they load themselves then.
(() => {
  const working = document.getElementById("working");
  const bar = document.getElementById("under-way");
  if (!working && !bar) return;
  const put = (id, text) => {
    const part = document.getElementById(id);
    if (part && part.textContent !== text) part.textContent = text;
  };
  const look = async () => {
    try {
      const answer = await fetch("/progress", { cache: "no-store" });
      if (!answer.ok) throw new Error("refused");
      const told = await answer.json();
      if (!told.going && working) return location.replace("/working");
      if (!told.going) {
        bar.innerHTML = "";
        bar.append("It is done. ", Object.assign(document.createElement("a"), { href: "/working", textContent: "See what came of it" }));
        return;
      }
      if (working) {
        put("stage", told.stage);
        put("found", told.found);
        put("time", told.time);
        document.getElementById("lost").hidden = true;
      }
    } catch {
      if (working) document.getElementById("lost").hidden = false;
    }
    setTimeout(look, 1000);
  };
  setTimeout(look, 500);
})();
