"use strict";
/** Puts the page together: a station, a box, what was kept, and what the desk says. */

(() => {
  const find = (name) => document.getElementById(name);
  const { sheet: key, unit, zero } = document.body.dataset;
  const kept = makeKept(key);
  const [radius, note, wrong] = ["radius", "note", "wrong"].map(find);

  let state = kept.read("state");
  /** The station to read: {row, column} as the desk tells them; and where it is. */
  let station = null;
  let shown = null; // the station whose call is told
  let correcting = null; // the reading that is being corrected
  let sure = ""; // the reading whose withdrawal was asked for once
  let pictured = "";

  const same = (a, b) => a && b && a.row.text === b.row.text && a.column.text === b.column.text;
  const at = (i, j) => ({ row: state.rows[i], column: state.columns[j] });

  /** Row and column of a station on the board; null off it. */
  function onBoard(one) {
    if (!state || !one) return null;
    const row = state.rows.findIndex((r) => Math.abs(r.mm - one.row.mm) < 5);
    const column = state.columns.findIndex((c) =>
      Math.abs(((c.onward - one.column.onward + 540) % 360) - 180) < 0.5);
    return row < 0 || column < 0 ? null : { row, column };
  }

  /** The place of a reading as a station, from its texts. */
  function stationOf(texts) {
    const mm = readNumber(texts.height) * MM_PER[unit];
    const azimuth = readNumber(texts.azimuth);
    if (state) {
      const row = state.rows.find((r) => Math.abs(r.mm - mm) < 5);
      const column = state.columns.find((c) => Math.abs(readNumber(c.text) - azimuth) < 0.5);
      if (row && column) {
        return { row: { ...row, text: texts.height }, column: { ...column, text: texts.azimuth } };
      }
    }
    return null;
  }

  /** Texts typed and not saved, by their place on the board. */
  function waitingTexts() {
    const texts = new Map();
    for (const event of kept.waiting()) {
      const place = onBoard(stationOf(event));
      if (place && event.deed !== "withdraw") texts.set(`${place.row} ${place.column}`, event.text);
    }
    return texts;
  }

  /** The next station that nobody read, from one on: round the clock, then lower. */
  function nextAfter(one) {
    if (!state) return null;
    const wide = state.columns.length;
    const total = state.rows.length * wide;
    const place = onBoard(one);
    const from = place ? place.row * wide + place.column : -1;
    const waiting = waitingTexts();
    for (let step = 1; step <= total; step += 1) {
      const i = (from + step + total) % total;
      const [row, column] = [Math.floor(i / wide), i % wide];
      const there = state.stations[row][column];
      if (there && !there.read.length && !waiting.has(`${row} ${column}`)) return at(row, column);
    }
    return null;
  }

  // --- the box ------------------------------------------------------------------------

  function keepDraft() {
    kept.write("draft", { station, text: radius.value, note: note.value, correcting, shown });
  }

  function complain(words) {
    wrong.textContent = words;
    radius.classList.toggle("odd", Boolean(words));
  }

  function setStation(one) {
    station = one;
    keepDraft();
    show();
  }

  function clearBox() {
    radius.value = "";
    note.value = "";
    correcting = null;
    complain("");
  }

  /** Keep a deed and send it. */
  function act(deed, entry, texts) {
    kept.add({ id: newMark(), entry, deed, azimuth: texts.azimuth, height: texts.height,
      text: texts.text, note: texts.note, time: new Date().toISOString() });
    sender.push();
  }

  function accept() {
    const text = radius.value.trim();
    if (!station) {
      complain("Touch a station first.");
      return;
    }
    const why = wrongWith(text, station.row, unit);
    complain(why);
    if (why) return;
    const texts = { azimuth: station.column.text, height: station.row.text, text, note: note.value.trim() };
    if (correcting) act("correct", correcting.id, texts);
    else act("enter", newMark(), texts);
    shown = station;
    const was = correcting;
    clearBox();
    station = was ? was.before ?? nextAfter(station) : nextAfter(station);
    keepDraft();
    show();
    radius.focus({ preventScroll: true });
  }

  find("box").addEventListener("submit", (event) => {
    event.preventDefault();
    accept();
  });
  for (const input of [radius, note]) {
    input.addEventListener("input", () => { complain(""); keepDraft(); });
  }
  makeKeys(radius, () => { complain(""); keepDraft(); });
  find("no-access").addEventListener("click", () => { radius.value = "no access"; accept(); });
  find("skip").addEventListener("click", () => { complain(""); setStation(nextAfter(station)); });
  find("cancel").addEventListener("click", () => {
    const before = correcting?.before;
    clearBox();
    setStation(before ?? nextAfter(station));
  });

  // --- the list -----------------------------------------------------------------------

  /** Readings as the desk has them, with what it does not have yet. */
  function lines() {
    const numbered = (state?.entries ?? []).map((entry, k) => ({ ...entry, number: k + 1 }));
    const byId = new Map(numbered.map((line) => [line.id, line]));
    for (const event of kept.waiting()) {
      const old = byId.get(event.entry);
      const line = { ...(old ?? { id: event.entry, slip: "" }), azimuth: event.azimuth, height: event.height,
        text: event.text, note: event.note, withdrawn: event.deed === "withdraw", waiting: true,
        where: old?.where ?? whereOf(event) };
      byId.set(line.id, line);
    }
    const refused = kept.refused().map(({ event, why }) => ({ ...event, id: event.id, where: whereOf(event),
      refused: why, entryId: event.entry }));
    return [...byId.values(), ...refused].reverse();
  }

  function whereOf(texts) {
    const place = stationOf(texts);
    return place ? `${place.column.clock}, ${texts.height} ${unit}` : `${texts.azimuth}°, ${texts.height} ${unit}`;
  }

  function listAct(deed, line) {
    if (["withdraw", "drop"].includes(deed) && sure !== line.id) {
      sure = line.id;
      showList();
      return;
    }
    sure = "";
    if (deed === "withdraw") act("withdraw", line.id, line);
    if (deed === "put back") act("correct", line.id, line);
    if (deed === "drop") kept.drop(line.id);
    if (deed === "correct" || deed === "mend") {
      const entry = deed === "mend" ? line.entryId : line.id;
      takeUp(line, deed === "mend" && line.deed === "enter" ? null : entry);
      if (deed === "mend") {
        kept.drop(line.id);
        complain(line.refused);
      }
      find("station").scrollIntoView({ block: "center" });
      radius.focus({ preventScroll: true });
    }
    show();
  }

  /** Put a reading into the box again. */
  function takeUp(texts, entry) {
    correcting = entry ? { id: entry, words: `${texts.text} at ${whereOf(texts)}`, before: station } : null;
    station = stationOf(texts) ?? { row: { text: texts.height, mm: readNumber(texts.height) * MM_PER[unit], least: 0, most: 1e9,
      drawn: "", go: "", brick: "", both: "" }, column: { text: texts.azimuth, clock: `${texts.azimuth}°`, onward: 0 } };
    radius.value = texts.text;
    note.value = texts.note;
    keepDraft();
  }

  // --- what is shown ------------------------------------------------------------------

  function showStation() {
    find("correcting").hidden = !correcting;
    find("correcting").firstElementChild.textContent = correcting ? `Correcting ${correcting.words}` : "";
    find("station").classList.toggle("none", !station);
    if (!station) {
      find("station-clock").textContent = state ? "All read" : "";
      find("station-height").textContent = "";
      find("station-rest").textContent = state ? "Touch a station to read it again." : "The stations come with the first connection.";
      for (const name of ["drawn", "go", "brick"]) find(name).textContent = "";
      find("clock").replaceChildren();
      return;
    }
    const { row, column } = station;
    find("station-clock").textContent = column.clock;
    find("station-height").textContent = `${row.text} ${unit}`;
    const both = unit === "mm" || !row.both ? "" : ` · ${row.both}`;
    find("station-rest").textContent = unbroken(`${column.text}° · ${zero} at 12${both}`);
    for (const name of ["drawn", "go", "brick"]) find(name).textContent = row[name];
    drawClock(find("clock"), column.onward);
  }

  function showCall() {
    const call = find("call");
    const depth = find("shown-depth");
    const readLine = find("shown-read");
    depth.replaceChildren();
    readLine.textContent = "";
    find("judged").hidden = true;
    if (!shown || !state) {
      find("shown-where").textContent = state?.count ? "Touch a station to see its call" : "Nothing read yet";
      call.textContent = "No call yet";
      call.className = "do none";
      return;
    }
    find("shown-where").textContent = `${shown.column.clock}, ${shown.row.text} ${unit}`;
    const place = onBoard(shown);
    const there = place && state.stations[place.row][place.column];
    const typed = place && waitingTexts().get(`${place.row} ${place.column}`);
    const texts = [...(there?.read ?? []), ...(typed ? [typed] : [])];
    const plainDepth = texts.length ? readNumber(texts.at(-1)) * MM_PER[unit] - shown.row.drawnMm : NaN;
    if (there?.call && !typed) {
      call.textContent = there.word;
      call.className = `do ${there.call.replace(" ", "-")}`;
      find("judged").hidden = !there.judged;
      find("judged").textContent = there.judged ?? "";
      find("judged").className = (there.decision ?? "").replace(" ", "-");
      if (there.cutback) {
        depth.append(made("b", unbroken(there.cutback[0].toUpperCase() + there.cutback.slice(1))), made("span", `95 %: ${unbroken(there.between)}`));
      }
    } else {
      call.textContent = typed ? "Call to come" : "No call yet";
      call.className = "do none";
      if (!Number.isNaN(plainDepth)) depth.append(made("b", unbroken(sayOff(plainDepth))));
      const why = typed ? (sender.connected ? "being worked out" : "the call comes with the connection")
        : state.lacks ? `${state.lacks} until there is a call` : "";
      if (why) depth.append(made("span", why));
    }
    if (texts.length) {
      const off = there?.call && !typed ? `; by itself ${sayOff(plainDepth).toLowerCase()}` : "";
      readLine.textContent = `Read ${texts.join(", then ")} ${unit}${off}`;
    } else readLine.textContent = there ? "Not read: inferred from the others" : "";
  }

  /** A number and its unit stay together. */
  function unbroken(words) { return words.replace(/ (in|mm|cm|m)\b/g, "\u00a0$1").replace(/(\d) (\d+\/)/g, "$1\u00a0$2"); }

  /** How far a reading by itself is off the drawing. */
  function sayOff(mm) {
    const length = sayLength(Math.abs(mm), unit);
    if (length === sayLength(0, unit)) return "On its drawing";
    return `${mm > 0 ? "Cut back" : "Stands proud"} ${sayBoth(Math.abs(mm), unit)}`;
  }

  function showStatus() {
    const waiting = kept.waiting().length;
    const refused = kept.refused().length;
    const status = find("status");
    const many = `${waiting} not yet saved`;
    let label = ["saved", "All saved"];
    if (sender.other) label = ["bad", `${sender.other} is open at this address now. Reload to go on with it${waiting ? `; ${many} stay here` : ""}`];
    else if (waiting && !sender.connected) label = ["away", `${many}: no connection`];
    else if (waiting && sender.trouble) label = ["bad", `${many}: ${sender.trouble}`];
    else if (waiting) label = ["waiting", `Saving ${waiting}`];
    else if (refused) label = ["bad", `${refused} refused: mend ${refused === 1 ? "it" : "them"} in the list`];
    else if (!sender.connected) label = ["away", "All saved, but no connection"];
    else if (!kept.works) label = ["bad", "All saved, but this browser keeps nothing: do not reload without connection"];
    else if (kept.ofOthers()) label = ["bad", `All saved; ${kept.ofOthers()} of another sheet still wait in this browser: open that sheet to save them`];
    status.className = label[0];
    const words = document.createElement("b");
    words.textContent = label[1];
    if (status.textContent !== label[1]) status.replaceChildren(words);
  }

  function showFit() {
    const quick = `worked out quickly${state.fitting ? "; in full as soon as nothing more is typed" : ""}`;
    const words = { none: "", quick, full: `worked out in full from ${state.count} readings` }[state.fit];
    find("fit").textContent = state.trouble ? `${words}; could not be worked out in full: ${state.trouble}` : words;
    find("fit").dataset.fit = state.fit;
    find("wall-lacks").textContent = state.lacks ? `${state.lacks} until the wall can be worked out.` : "";
    const read = state.stations.flat().filter((one) => one && one.read.length).length;
    const all = state.stations.flat().filter(Boolean).length;
    find("read-count").textContent = `${read} of ${all} read`;
  }

  function showAdvice() {
    const box = find("advice");
    box.replaceChildren();
    if (!state.telling.length) return;
    box.append(state.recheck ? "Read next, to decide: " : "Would tell most: ");
    for (const one of state.telling) {
      const button = made("button", `${one.column.clock}, ${one.row.text} ${unit}`);
      button.type = "button";
      button.addEventListener("click", () => choose(one));
      box.append(button);
    }
  }

  /** Whether the repaired wall is back, as far as it was read. */
  function showRecheck() {
    const box = find("recheck");
    box.hidden = !state.recheck;
    if (!state.recheck) return;
    const { verdict, lines, late } = state.recheck;
    find("verdict").textContent = verdict ? `Recheck: ${verdict}${late ? " (before the last reading)" : ""}`
      : "Recheck: no verdict until the wall is worked out in full.";
    box.lastElementChild.replaceChildren(...lines.map((line) => made("li", line)));
  }

  function showPicture() {
    const now = JSON.stringify(state.wall);
    const where = shown ? { azimuth: readNumber(shown.column.text), mm: shown.row.mm } : null;
    if (now !== pictured) {
      pictured = now;
      const wall = readWall(state.wall);
      const place = makePlace(wall);
      const canvas = made("canvas");
      canvas.id = "unrolled";
      canvas.tabIndex = 0;
      canvas.setAttribute("role", "img");
      canvas.setAttribute("aria-label", "The wall unrolled, seen from inside; arrow keys move the mark");
      find("unrolled-holder").replaceChildren(canvas);
      makeUnrolled(canvas, wall, place);
      picture = { wall, place };
      if (where) place.move({ row: rowAt(wall, where.mm), column: columnAt(wall, where.azimuth) });
      place.listen(() => {
        if (pointing) return;
        const description = sayCell(wall, wall.heats[0], place.row, place.column);
        find("cell").textContent = `${description.where}: ${description.lines.map((line) => line.slice(0, 2).join(" ")).join("; ")}${description.call ? `. ${description.call}` : ""}`;
      });
    } else if (where && picture) {
      pointing = true;
      picture.place.move({ row: rowAt(picture.wall, where.mm), column: columnAt(picture.wall, where.azimuth) });
      pointing = false;
    }
  }
  let picture = null;
  let pointing = false; // the mark is moved by the page and not by a hand

  const NEWEST = 12; // readings that are listed before older ones are asked for
  let older = false;
  function showList() {
    const every = lines();
    const pressing = every.filter((line, k) => older || k < NEWEST || line.slip || line.refused || line.waiting);
    showEntries(find("entries"), pressing, listAct, sure);
    find("older").hidden = pressing.length === every.length;
    find("older").textContent = `Show all ${every.length}`;
  }
  find("older").addEventListener("click", () => { older = true; showList(); });

  const showBoard = makeBoard(find("board"), (i, j) => choose(at(i, j)));
  drawCallKey(find("key"));

  /** Touching a station: its call is told, and the box is for it. */
  function choose(one) {
    if (correcting) clearBox();
    shown = one;
    setStation(one);
    find("work").scrollIntoView({ block: "nearest" });
    radius.focus({ preventScroll: true });
  }

  function show() {
    showStation();
    showStatus();
    showCall();
    if (!state) return;
    showBoard(state, onBoard(station), waitingTexts());
    showFit();
    showRecheck();
    showAdvice();
    showPicture();
    showList();
  }

  // --- the desk -----------------------------------------------------------------------

  const sender = makeSender(kept, key, {
    state(news) {
      state = news;
      kept.write("state", news);
      if (!station && !correcting) station = nextAfter(null);
    },
    /** A refused reading goes back into the box if the hand has not begun another. */
    verdicts(list) {
      const refusal = list.find((one) => !one.kept);
      if (!refusal || radius.value.trim() || correcting) return;
      const { event } = kept.refused().find((one) => one.event.id === refusal.event) ?? {};
      if (!event || event.deed === "withdraw") return;
      takeUp(event, event.deed === "correct" ? event.entry : null);
      kept.drop(event.id);
      keepDraft();
      complain(refusal.why);
    },
    changed: show,
  });

  const draft = kept.read("draft");
  if (draft) {
    station = draft.station;
    shown = draft.shown;
    correcting = draft.correcting;
    radius.value = draft.text ?? "";
    note.value = draft.note ?? "";
  }
  const cautions = find("cautions");
  cautions.open = kept.read("cautions") !== "read";
  cautions.addEventListener("toggle", () => kept.write("cautions", cautions.open ? "open" : "read"));
  window.addEventListener("storage", show);
  if (!station) station = nextAfter(null);
  show();
  radius.focus({ preventScroll: true });
  sender.listen();
  sender.push();
  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js").catch(() => {});
})();
