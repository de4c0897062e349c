"use strict";
/** Puts the pictures of the page together: all of them mark one place. */

(() => {
  const find = (name) => document.getElementById(name);
  const wall = readWall(JSON.parse(find("wall-data").textContent));
  const place = makePlace(wall);
  place.heat = wall.heats.length - 1;

  const choices = find("fields");
  for (const { name, words } of FIELDS) {
    if (name === "left" && wall.shell === null) continue;
    if (name === "change" && wall.heats.length < 2) continue;
    const label = document.createElement("label");
    const radio = Object.assign(document.createElement("input"), {
      type: "radio", name: "field", value: name, checked: name === place.field });
    radio.addEventListener("change", () => place.move({ field: name }));
    const face = Object.assign(document.createElement("span"), { textContent: words });
    label.append(radio, face);
    choices.append(label);
  }

  makeUnrolled(find("unrolled"), wall, place);
  makeRing(find("ring"), wall, place);
  makeUpright(find("upright"), wall, place);

  const where = find("where");
  const list = find("told");
  const call = find("call");
  /** The words beside the pictures. */
  function showCell() {
    const heat = wall.heats[place.heat];
    const cell = sayCell(wall, heat, place.row, place.column, wall.heats[place.base]);
    where.textContent = cell.where;
    list.replaceChildren();
    for (const [name, value, remark] of cell.lines) {
      const line = document.createElement("p");
      const words = (tag, text) => Object.assign(document.createElement(tag), { textContent: text });
      line.append(words("span", name), words("b", value));
      if (remark) line.append(words("small", remark));
      list.append(line);
    }
    call.textContent = cell.zone ? `${cell.call}, zone ${cell.zone}` : cell.call;
    call.className = cell.call ? `do ${cell.action.replace(" ", "-")}` : "";
    if (find("curve-words")) find("curve-words").textContent = cell.where;
    find("ring-words").textContent = `${sayBoth(wall.height[place.row], wall.unit)} up, seen from above`;
    find("upright-words").textContent = `${sayClock(place.column * wall.sector, wall.clockwise)}, axis to the left`;
    document.querySelectorAll("[data-zone]").forEach((row) => {
      row.classList.toggle("here", Number(row.dataset.zone) === cell.zone);
    });
  }
  let field = "";
  place.listen(() => {
    showCell();
    if (field !== place.field) drawColourBar(find("key"), wall, place.field);
    field = place.field;
  });

  /** A zone's button goes to the deepest place of the zone. */
  document.querySelectorAll("[data-go]").forEach((button) => {
    button.addEventListener("click", () => {
      const zone = wall.heats[place.heat].zones[button.dataset.go];
      place.held = true;
      place.move({ row: zone.row, column: zone.column });
      find("wall").scrollIntoView({ behavior: "instant", block: "start" });
      find("unrolled").focus({ preventScroll: true });
    });
  });

  if (find("curve")) makeCurve(find("curve"), wall, place);
  if (wall.heats.length > 1) chooseHeat(wall, place, find);
  drawColourBar(find("key"), wall, place.field);
  field = place.field;
  place.move({ row: wall.start.row, column: wall.start.column });
  showCell();
  performance.mark("answers");
  // Without a graphics card the wall in space takes a second to set up: the flat pictures
  // are shown, and answer, before that.
  requestAnimationFrame(() => setTimeout(() => {
    makeModel(find("turning"), wall, place, {
      whole: find("whole"), bricks: find("bricks"), stretch: find("stretch"), lid: find("lid"), home: find("home"), sorry: find("sorry") });
    performance.mark("turns");
    document.documentElement.dataset.ready = "yes";
  }, 50));
})();
