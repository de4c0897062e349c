"use strict";
/** The stations as a table: heights down the side, the clock along the top. */

const SHORT = { leave: "Leave", daub: "Daub", brick: "Brick", chip: "Chip", "measure again": "Again" };

function made(tag, words, classes) {
  const element = document.createElement(tag);
  if (words !== undefined) element.textContent = words;
  if (classes) element.className = classes;
  return element;
}

/** The words of a call and how it is drawn. */
function drawCallKey(box) {
  box.replaceChildren();
  for (const [action, words] of Object.entries(SHORT)) {
    const chip = made("span", undefined, action.replace(" ", "-"));
    chip.append(made("i", action === "measure again" ? "Again: measure again" : words));
    box.append(chip);
  }
}

/** Make the table; gives back a function that shows a view of it. */
function makeBoard(table, choose) {
  let shape = "";
  let cells = [];

  function build(state) {
    const head = made("tr");
    head.append(made("td"));
    for (const column of state.columns) {
      const cell = made("th", column.clock.replace(" o'clock", "").replace(/half past (\d+)/, "$1:30"));
      cell.append(made("small", `${column.text}°`));
      head.append(cell);
    }
    const body = made("tbody");
    cells = state.rows.map((row, i) => {
      const line = made("tr");
      const side = made("th", row.text);
      if (row.both !== `${row.text} mm`) side.append(made("small", row.both));
      line.append(side);
      const buttons = state.columns.map((column, j) => {
        const cell = made("td");
        line.append(cell);
        if (!state.stations[i][j]) {
          cell.className = "hole";
          return null;
        }
        const button = made("button", undefined, "call");
        button.type = "button";
        button.append(made("b"), made("span"));
        button.addEventListener("click", () => choose(i, j));
        cell.append(button);
        return button;
      });
      body.append(line);
      return buttons;
    });
    const top = made("thead");
    top.append(head);
    table.replaceChildren(top, body);
  }

  /** @param waiting texts typed but not saved, by "row column" */
  return function show(state, chosen, waiting) {
    const now = JSON.stringify([state.rows.map((r) => r.text), state.columns.map((c) => c.text),
      state.stations.map((line) => line.map(Boolean))]);
    if (now !== shape) build(state);
    shape = now;
    state.stations.forEach((line, i) => line.forEach((station, j) => {
      const button = cells[i][j];
      if (!button) return;
      const typed = waiting.get(`${i} ${j}`);
      const read = typed ?? station.read.at(-1) ?? "";
      const call = station.call ?? "";
      const known = call && (!typed || station.read.length);
      button.className = ["call", known ? `called ${call.replace(" ", "-")}` : "", read ? "" : "inferred",
        typed ? "unsaved" : "", chosen && chosen.row === i && chosen.column === j ? "here" : ""].join(" ").trim();
      button.children[0].textContent = read;
      button.children[0].hidden = !read;
      button.children[1].textContent = typed ? "unsaved" : known ? SHORT[call] : read ? "" : "·";
      button.children[1].hidden = !button.children[1].textContent;
      const place = `${state.columns[j].clock}, ${state.rows[i].text}`;
      button.setAttribute("aria-label", `${place}: ${read ? `read ${read}` : "not read"}${known ? `, ${station.word}` : ""}`);
    }));
  };
}
