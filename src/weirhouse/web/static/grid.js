// The day's readings by keyboard: moves, pastes, undoes, and sends each figure as its cell is left. What the server does
// not have yet is kept in this browser and sent again; "saved" is said only when the server has answered that it is.

const AGAIN = [2, 5, 10, 30]; // seconds

export function grid(form) {
  const day = form.dataset.day;
  const person = form.querySelector("[name=person]");
  const reason = form.querySelector("[name=reason]");
  const says = document.querySelector("[data-grid-says]");
  const asks = document.querySelector("[data-grid-asks]");
  const rows = [...form.querySelectorAll("tbody tr")].map((row) => [...row.querySelectorAll("input[data-channel]")]);
  const inputs = new Map(rows.flat().map((input) => [input.id, input]));
  const held = new Map(); // what the server holds: text and entry
  const store = outbox(day);
  const undo = [];
  let flying = false, failures = 0, timer = 0;

  for (const input of inputs.values()) {
    const was = form.querySelector(`[name="w.${input.id}"]`);
    held.set(input.id, { text: was ? was.value : "", entry: input.dataset.entry });
  }
  form.querySelector("[data-grid-send]").hidden = true;
  for (const keys of document.querySelectorAll("[data-grid-keys]")) keys.hidden = false;

  // --- what was typed

  function state(key, word, sentence = "") {
    const input = inputs.get(key);
    if (!input) return;
    input.parentElement.dataset.state = word;
    input.setAttribute("aria-invalid", String(word === "refused" || word === "asked"));
    const words = { saved: "saved", typing: "", sending: "not saved yet", waiting: "not saved yet", asked: "asked back",
      refused: "not kept", gone: "taken back", draft: "not sent: leave the cell" };
    input.parentElement.querySelector(".cell-state").textContent = sentence || words[word];
  }

  function draft(input) {
    const before = store.cells[input.id];
    const text = input.value.trim();
    if (!before && text === held.get(input.id).text) return;
    store.cells[input.id] = { ...before, text, channel: input.dataset.channel, time: timeOf(input), stuck: undefined };
    store.keep();
    if (!before?.flight) state(input.id, "typing");
  }

  function commit(some, why = "") {
    const done = [];
    for (const input of some) {
      const key = input.id, text = input.value.trim(), own = held.get(key), cell = store.cells[key];
      if (cell?.flight ? cell.flight.text === text : own.text === text) {
        if (cell && !cell.flight) {
          delete store.cells[key];
          state(key, own.text ? "saved" : "typing", own.text ? "as it was" : "");
        }
        continue;
      }
      if (cell?.stuck === text) continue;
      done.push({ key, from: cell?.flight ? cell.flight.text : own.text });
      store.cells[key] = { ...cell, text, channel: input.dataset.channel, time: timeOf(input), ready: true, why,
        stuck: undefined };
      state(key, "waiting");
    }
    store.keep();
    if (done.length && why !== "undone") undo.push(done);
    send();
  }

  function timeOf(input) {
    return input.closest("tr").dataset.time;
  }

  // --- sending

  async function send() {
    clearTimeout(timer);
    if (flying) return;
    const keys = Object.keys(store.cells).filter((key) => store.cells[key].ready || store.cells[key].flight);
    if (!keys.length) return tell();
    if (!person.value.trim()) {
      says.textContent = "Write your name first. What you typed is kept in this browser.";
      return;
    }
    const cells = [];
    for (const key of keys) {
      const cell = store.cells[key];
      if (!cell.flight) {
        const own = held.get(key) ?? { text: "", entry: cell.entry ?? "" };
        if (!cell.text && !own.entry) {
          delete store.cells[key];
          state(key, "typing");
          continue;
        }
        cell.flight = { id: uuid(), channel: cell.channel, time: cell.time, text: cell.text, entry: own.entry,
          sure: cell.sure === cell.text, reason: reason?.value.trim() || cell.why || "" };
        cell.ready = false;
      }
      cells.push([key, cell.flight]);
      state(key, "sending");
    }
    store.keep();
    if (!cells.length) return tell();
    flying = true;
    try {
      const answer = await fetch(form.dataset.grid, { method: "POST", headers: { "content-type": "application/json" },
        body: JSON.stringify({ person: person.value, cells: cells.map(([, flight]) => flight) }) });
      if (answer.redirected || (answer.status >= 400 && answer.status < 500 && answer.status !== 409)) {
        const said = answer.redirected ? {} : await answer.json().catch(() => ({}));
        failures += 1;
        later(said.error || "You are not signed in any more. Sign in in another window; what you typed is kept here.");
      } else if (!answer.ok && answer.status !== 409) {
        throw new Error(String(answer.status));
      } else {
        const found = await answer.json();
        found.cells.forEach((one, place) => landed(cells[place][0], cells[place][1], one));
        failures = 0;
      }
    } catch {
      failures += 1;
      later("The plant's computer does not answer. What you typed is kept in this browser and sent again.");
    } finally {
      flying = false;
    }
    if (!failures) {
      tell();
      if (Object.values(store.cells).some((cell) => cell.ready)) send();
    }
  }

  function landed(key, flight, one) {
    const cell = store.cells[key];
    if (!cell || cell.flight?.id !== flight.id) return;
    cell.flight = undefined;
    if (one.status === "stored" || one.status === "withdrawn") {
      held.set(key, { text: flight.text, entry: one.entry });
      const input = inputs.get(key);
      if (input) {
        input.dataset.entry = one.entry;
        const link = input.parentElement.querySelector(".history");
        if (link && one.entry) link.href = `/log/entry/${one.entry}`;
      }
      if (cell.text === flight.text) {
        delete store.cells[key];
        const read = one.shown && one.shown !== flight.text ? `saved, ${one.shown}` : "saved";
        state(key, one.status === "stored" ? "saved" : "gone", one.status === "stored" ? read : "");
      } else cell.ready = true;
    } else if (cell.text !== flight.text) {
      cell.ready = true;
    } else {
      cell.stuck = flight.text;
      state(key, one.status);
      if (one.status === "asked") question(key, one.sentence);
      else state(key, "refused", one.sentence);
    }
    store.keep();
  }

  function later(sentence) {
    says.textContent = sentence;
    says.dataset.state = "waiting";
    timer = setTimeout(send, 1000 * AGAIN[Math.min(failures - 1, AGAIN.length - 1)]);
  }

  function tell() {
    const open = Object.values(store.cells).filter((cell) => cell.text || cell.flight).length;
    says.dataset.state = open ? "waiting" : "saved";
    says.textContent = open ? `${open} not on the plant's computer yet.` : "All that you typed is saved.";
    if (!store.works) says.textContent += " This browser keeps nothing by itself: do not close the page before it says saved.";
  }

  // --- the question

  function question(key, sentence) {
    const input = inputs.get(key);
    asks.replaceChildren();
    const words = document.createElement("p");
    words.textContent = `${input ? input.closest("tr").querySelector("th").textContent : ""}: ${sentence}`;
    const yes = document.createElement("button"), no = document.createElement("button");
    yes.type = no.type = "button";
    yes.textContent = "Yes, that is what I read";
    no.textContent = "No, mend it";
    no.className = "plain";
    yes.addEventListener("click", () => {
      const cell = store.cells[key];
      if (cell) Object.assign(cell, { sure: cell.text, ready: true, stuck: undefined });
      close(key);
      send();
    });
    no.addEventListener("click", () => close(key));
    const row = document.createElement("p");
    row.className = "row";
    row.append(yes, no);
    asks.append(words, row);
    asks.hidden = false;
    yes.focus();
  }

  function close(key) {
    asks.hidden = true;
    const next = Object.keys(store.cells).find((other) => other !== key && inputs.get(other)?.parentElement.dataset.state === "asked");
    inputs.get(next ?? key)?.focus();
  }

  // --- keys

  function place(input) {
    const row = rows.findIndex((some) => some.includes(input));
    return [row, rows[row].indexOf(input)];
  }

  function go(input, down, right) {
    const [row, column] = place(input);
    const next = rows[row + down]?.[column + right];
    if (next) next.focus();
    else if (down || right) commit([input]);
    return Boolean(next);
  }

  function atEdge(input, right) {
    const all = input.selectionStart === 0 && input.selectionEnd === input.value.length;
    return all || (input.selectionStart === input.selectionEnd && input.selectionStart === (right > 0 ? input.value.length : 0));
  }

  form.addEventListener("keydown", (event) => {
    const input = event.target;
    if (!inputs.has(input.id) || event.isComposing) return;
    if ((event.ctrlKey || event.metaKey) && !event.shiftKey && event.key.toLowerCase() === "z") {
      const known = store.cells[input.id]?.flight?.text ?? store.cells[input.id]?.stuck ?? held.get(input.id).text;
      if (input.value.trim() !== known) return; // the browser takes back what is being typed
      event.preventDefault();
      takeBack();
      return;
    }
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const moves = { ArrowUp: [-1, 0], ArrowDown: [1, 0], Enter: [event.shiftKey ? -1 : 1, 0] };
    if (event.key in moves) {
      event.preventDefault();
      go(input, ...moves[event.key]);
    } else if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
      const right = event.key === "ArrowRight" ? 1 : -1;
      if (atEdge(input, right) && go(input, 0, right)) event.preventDefault();
    } else if (event.key === "Escape") {
      input.value = held.get(input.id).text;
      if (!store.cells[input.id]?.flight) delete store.cells[input.id];
      store.keep();
      state(input.id, "typing");
    }
  });

  function takeBack() {
    const last = undo.pop();
    if (!last) {
      says.textContent = "There is nothing of yours to take back on this page.";
      return;
    }
    const some = last.map(({ key, from }) => {
      const input = inputs.get(key);
      input.value = from;
      return input;
    });
    commit(some, "undone");
    some[0].focus();
  }

  form.addEventListener("focusin", (event) => { if (inputs.has(event.target.id)) event.target.select(); });
  form.addEventListener("input", (event) => { if (inputs.has(event.target.id)) draft(event.target); });
  form.addEventListener("focusout", (event) => { if (inputs.has(event.target.id)) commit([event.target]); });
  form.addEventListener("submit", (event) => { event.preventDefault(); commit([...inputs.values()]); });
  person.addEventListener("change", send);

  form.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text/plain").replace(/\r\n?/g, "\n").replace(/\n+$/, "");
    if (!inputs.has(event.target.id) || !/[\t\n]/.test(text)) return;
    event.preventDefault();
    const [row, column] = place(event.target);
    const filled = [];
    let over = 0;
    text.split("\n").forEach((line, down) => line.split("\t").forEach((value, right) => {
      const input = rows[row + down]?.[column + right];
      if (!input) over += value.trim() ? 1 : 0;
      else {
        input.value = value.trim();
        draft(input);
        filled.push(input);
      }
    }));
    commit(filled);
    if (over) says.textContent = `${over} of the figures did not fit. Add times or columns first, then paste them again.`;
  });

  // --- what an earlier visit left

  const missing = Object.entries(store.cells).filter(([key]) => !inputs.has(key));
  if (missing.length && !new URLSearchParams(location.search).has("again")) {
    const query = new URLSearchParams(location.search);
    for (const [, cell] of missing) query.append("time", cell.time);
    query.set("again", "1");
    location.replace(`${location.pathname}?${query}`);
    return;
  }
  for (const [key, cell] of Object.entries(store.cells)) {
    const input = inputs.get(key);
    cell.stuck = undefined;
    if (input) {
      input.value = cell.text;
      state(key, cell.flight || cell.ready ? "waiting" : "draft"); // what was half typed is not sent by itself
    }
  }
  window.addEventListener("online", send);
  window.addEventListener("focus", send);
  if (Object.keys(store.cells).length) send();
}

// What is not on the server yet, in this browser, by day.
function outbox(day) {
  const name = `weirhouse grid ${day}`;
  const found = { cells: {}, works: true, keep };
  try {
    found.cells = JSON.parse(localStorage.getItem(name) ?? "{}");
  } catch {
    found.works = false;
  }
  function keep() {
    try {
      if (Object.keys(found.cells).length) localStorage.setItem(name, JSON.stringify(found.cells));
      else localStorage.removeItem(name);
      found.works = true;
    } catch {
      found.works = false;
    }
  }
  return found;
}

// crypto.randomUUID is not there on a plain http address of the plant's network.
function uuid() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}
