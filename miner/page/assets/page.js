(() => {
  "use strict";
  const find = (what) => document.querySelector(what);
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));

  // Work that goes on: ask how far it is, go on when it has ended.
  const work = find("[data-work]");
  const watch = async () => {
    for (;;) {
      try {
        const told = await (await fetch(work.dataset.work)).json();
        find("#bar").value = told.percent;
        const step = find("[data-step]");
        if (step.textContent !== told.step) step.textContent = told.step;
        if (told.ended) { location.replace(location.pathname); return; }
      } catch { /* asked again below */ }
      await wait(300);
    }
  };
  if (work) watch();

  // Clients still being read: look again.
  if (find("[data-again]")) setTimeout(() => location.reload(), 1500);

  // Files dropped anywhere.
  const drop = find("form[data-drop]");
  const send = async (files) => {
    const told = drop.querySelector("[data-told]");
    const most = Number(drop.dataset.most);
    const size = [...files].reduce((sum, file) => sum + file.size, 0);
    if (!files.length) return;
    if (size > most) {
      told.textContent = `These are ${Math.ceil(size / 1e6)} MB; at most ${Math.floor(most / 1048576)} MB are read at once. Nothing was sent.`;
      return;
    }
    told.textContent = `Sending ${files.length === 1 ? files[0].name : `${files.length} files`} ...`;
    const body = new FormData();
    body.append("form_key", drop.elements.form_key.value);
    [...files].forEach((file) => body.append("files", file, file.name));
    try {
      const answer = await fetch(drop.action, { method: "POST", body, headers: { "x-by-script": "1" } });
      if (answer.ok) { location.assign((await answer.json()).to); return; }
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const why = page.querySelector("[role=alert], main p");
      told.textContent = why ? why.textContent.replace(/\s+/g, " ").trim() : "They were not taken.";
    } catch {
      told.textContent = "The page could not be reached. Is it still open where it was started? Nothing was added.";
    }
  };
  if (drop) {
    const root = document.documentElement;
    document.addEventListener("dragover", (event) => { event.preventDefault(); root.classList.add("over-it"); });
    document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) root.classList.remove("over-it"); });
    document.addEventListener("drop", (event) => {
      event.preventDefault();
      root.classList.remove("over-it");
      send(event.dataTransfer.files);
    });
    drop.addEventListener("submit", (event) => {
      event.preventDefault();
      send(drop.elements.files.files);
    });
  }

  // Columns: show at once how the file would be read.
  const form = find("form[data-preview]");
  if (form) {
    let turn = 0;
    form.addEventListener("change", async () => {
      const mine = (turn += 1);
      const body = new URLSearchParams(new FormData(form));
      body.set("action", "preview");
      const answer = await fetch(form.getAttribute("action"), { method: "POST", body, headers: { "x-by-script": "1" } });
      const text = await answer.text();
      if (mine === turn && answer.ok) document.getElementById(form.dataset.preview).innerHTML = text;
    });
  }
})();
