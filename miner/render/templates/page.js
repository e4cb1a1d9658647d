(() => {
  "use strict";
  const root = document.documentElement;
  const find = (what, where = document) => [...where.querySelectorAll(what)];
  const byId = (id) => document.getElementById(id);
  const NS = "http://www.w3.org/2000/svg";

  // The note that shows one day.
  const peek = document.querySelector("aside.peek");
  const hush = () => {
    find(".mark.shown").forEach((other) => other.classList.remove("shown"));
    if (peek) peek.hidden = true;
  };

  // One card at a time.
  const cards = find(".deck .card");
  const bar = document.querySelector(".bar");
  const filter = byId("filter");
  let here = 0;
  const open = () =>
    cards.filter((card) => !filter || !filter.value || !card.dataset.outcome || card.dataset.outcome === filter.value);
  const show = (wanted, focus) => {
    const list = open();
    here = Math.max(0, Math.min(wanted, list.length - 1));
    hush();
    cards.forEach((card) => card.classList.toggle("here", card === list[here]));
    byId("where").textContent = `${here + 1} of ${list.length}`;
    byId("back").disabled = here === 0;
    byId("next").disabled = here === list.length - 1;
    if (focus) {
      window.scrollTo(0, 0);
      const head = list[here].querySelector("h1,h2");
      if (head) head.focus({ preventScroll: true });
    }
  };
  if (bar && cards.length) {
    root.classList.add("live");
    bar.hidden = false;
    byId("back").addEventListener("click", () => show(here - 1, true));
    byId("next").addEventListener("click", () => show(here + 1, true));
    if (filter) {
      filter.closest(".filter").hidden = false;
      filter.addEventListener("change", () => show(0, false));
    }
    const steps = { ArrowRight: 1, PageDown: 1, ArrowLeft: -1, PageUp: -1, Home: -Infinity, End: Infinity };
    document.addEventListener("keydown", (event) => {
      const step = steps[event.key];
      if (!step || event.defaultPrevented || event.altKey || event.ctrlKey || event.metaKey) return;
      const paged = event.key.startsWith("Page");
      if (event.target.closest(paged ? "select,.mark" : "input,select,.mark")) return;
      event.preventDefault();
      show(step === -Infinity ? 0 : step === Infinity ? cards.length : here + step, true);
    });
    let from = null;
    document.addEventListener("touchstart", (event) => {
      from = event.touches.length === 1 && !event.target.closest("svg,input,select")
        ? event.touches[0] : null;
    }, { passive: true });
    document.addEventListener("touchend", (event) => {
      const to = event.changedTouches[0];
      if (!from || !to) return;
      const across = to.clientX - from.clientX;
      if (Math.abs(across) > 60 && Math.abs(across) > 2 * Math.abs(to.clientY - from.clientY)) {
        show(here + (across < 0 ? 1 : -1), true);
      }
      from = null;
    });
    show(Math.max(0, open().findIndex((card) => card.id && `#${card.id}` === location.hash)), false);
  }

  // The curve of one day.
  const held = byId("curves");
  const data = held ? JSON.parse(held.textContent) : null;
  const draw = (tag, attributes, text) => {
    const item = document.createElementNS(NS, tag);
    Object.entries(attributes).forEach(([key, value]) => item.setAttribute(key, value));
    if (text !== undefined) item.textContent = text;
    return item;
  };
  const W = 420, CURVE = 136, LANE = 15, L = 60, T = 8;
  const shown = data ? data.lanes.map((_, lane) => lane).filter((lane) => data.notes.some((note) => note[0] === lane)) : [];
  const B = 26 + LANE * shown.length, H = CURVE + T + B;
  const of = (day) => data.notes.filter((note) => note[1] < day.to && Math.max(note[2], note[1] + 1) > day.from - data.before);
  const clockOf = (minute) => {
    const at = (((data.clock + minute) % 1440) + 1440) % 1440;
    return `${String(Math.floor(at / 60)).padStart(2, "0")}:${String(at % 60).padStart(2, "0")}`;
  };
  const curve = (day, at) => {
    const first = day.from - data.before, span = day.to - first;
    const x = (minute) => L + ((minute - first) / span) * (W - L - 6);
    const y = (value) => T + (1 - (value - data.low) / (data.high - data.low)) * (H - T - B);
    const svg = draw("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": `Curve of ${day.name}` });
    data.lines.forEach((line) => {
      svg.append(draw("line", { class: "grid", x1: L, x2: W - 6, y1: y(line), y2: y(line) }));
      svg.append(draw("text", { x: L - 5, y: y(line) + 4, "text-anchor": "end" }, line));
    });
    for (let minute = first; minute <= day.to; minute += 1) {
      const clock = (((data.clock + minute) % 1440) + 1440) % 1440;
      if (clock % 360 === 0 && x(minute) < W - 16) {
        svg.append(draw("text", { x: x(minute), y: H - 8, "text-anchor": "middle" },
          `${String(clock / 60).padStart(2, "0")}:00`));
      }
    }
    svg.append(draw("line", { class: "wake", x1: x(day.from), x2: x(day.from), y1: T, y2: H - 26 }));
    if (at) {
      // A day is named by the date of its waking, and a meal by its own.
      const [hour, minute] = at.split(":").map(Number);
      const woke = (((data.clock + day.from) % 1440) + 1440) % 1440;
      const here = x(day.from + hour * 60 + minute - woke);
      if (here >= L && here <= W - 6) svg.append(draw("line", { class: "at", x1: here, x2: here, y1: T, y2: H - 26 }));
    }
    shown.forEach((lane, row) => {
      const y0 = H - B + LANE * row + 4;
      svg.append(draw("text", { x: L - 5, y: y0 + 10, "text-anchor": "end" }, data.lanes[lane]));
      of(day).filter((note) => note[0] === lane).forEach((note) => {
        const left = Math.max(note[1], first), right = Math.min(note[2], day.to);
        svg.append(draw("rect", { class: lane < 3 ? "during" : "noted", x: x(left).toFixed(1), y: y0 + 2,
          width: Math.max(x(right) - x(left), 4).toFixed(1), height: 8 }));
      });
    });
    let path = "", gap = true;
    const begin = Math.max(0, Math.ceil(first / data.step));
    for (let k = begin; k * data.step < day.to && k < data.values.length; k += 1) {
      const value = data.values[k];
      if (value === null) { gap = true; continue; }
      const at = Math.max(data.low, Math.min(data.high, value));
      path += `${gap ? "M" : "L"}${x((k + 0.5) * data.step).toFixed(1)} ${y(at).toFixed(1)}`;
      gap = false;
    }
    svg.append(draw("path", { class: "curve", d: path }));
    return svg;
  };
  const tell = (mark) => {
    hush();
    mark.classList.add("shown");
    if (!peek) return;
    const words = document.createElement("p");
    words.textContent = mark.getAttribute("aria-label");
    peek.replaceChildren(words);
    const day = data && data.days[mark.dataset.day];
    if (day) {
      peek.append(curve(day, mark.dataset.at));
      const told = of(day).filter((note) => note[3] && note[1] >= day.from);
      if (told.length) {
        const list = document.createElement("p");
        list.className = "notes";
        list.textContent = told.map((note) => `${clockOf(note[1])} ${note[3]}`).join("; ");
        peek.append(list);
      }
    }
    peek.hidden = false;
  };
  find(".hint").forEach((hint) => { hint.hidden = false; });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape") hush(); });
  find("svg.marked").forEach((svg) => {
    const marks = find(".mark", svg);
    const ordered = [...marks].sort((a, b) => (a.dataset.day < b.dataset.day ? -1 : a.dataset.day > b.dataset.day ? 1 : 0));
    if (!ordered.length) return;
    find("title", svg).forEach((title) => title.remove());
    const reach = (mark, focus) => {
      ordered.forEach((other) => other.setAttribute("tabindex", other === mark ? "0" : "-1"));
      if (focus) mark.focus();
    };
    reach(ordered[0], false);
    ordered.forEach((mark, at) => {
      mark.addEventListener("focus", () => tell(mark));
      mark.addEventListener("keydown", (event) => {
        const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
        if (!step) return;
        event.preventDefault();
        reach(ordered[(at + step + ordered.length) % ordered.length], true);
      });
    });
    const nearest = (event) => {
      let best = null, least = 34;
      marks.forEach((mark) => {
        const box = mark.getBoundingClientRect();
        const tall = box.height > 80;
        const dx = event.clientX - (box.left + box.width / 2);
        const dy = tall ? 0 : event.clientY - (box.top + box.height / 2);
        const far = Math.hypot(dx, dy);
        if (far < least) { least = far; best = mark; }
      });
      if (best && !best.classList.contains("shown")) { reach(best, false); tell(best); }
    };
    svg.addEventListener("pointermove", nearest);
    svg.addEventListener("pointerdown", nearest);
    svg.addEventListener("pointerleave", (event) => { if (event.pointerType === "mouse") hush(); });
    svg.addEventListener("focusout", hush);
  });
})();
