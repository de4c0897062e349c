"use strict";
/** Which of several surveys is shown, and which one change is counted from. */

function chooseHeat(wall, place, find) {
  const slider = find("heat");
  const name = find("heat-name");
  const base = find("base");
  slider.max = String(wall.heats.length - 1);
  wall.heats.forEach((heat, at) => {
    base.append(Object.assign(document.createElement("option"), { value: String(at), textContent: heat.name }));
  });
  const step = (by) => {
    const next = Math.min(Math.max(place.heat + by, 0), wall.heats.length - 1);
    place.move({ heat: next });
  };
  const show = () => {
    slider.value = String(place.heat);
    slider.setAttribute("aria-valuetext", wall.heats[place.heat].name);
    name.textContent = wall.heats[place.heat].name;
    base.value = String(place.base);
    find("earlier").disabled = place.heat === 0;
    find("later").disabled = place.heat === wall.heats.length - 1;
  };
  slider.addEventListener("input", () => place.move({ heat: Number(slider.value) }));
  base.addEventListener("change", () => place.move({ base: Number(base.value) }));
  find("earlier").addEventListener("click", () => step(-1));
  find("later").addEventListener("click", () => step(1));
  place.listen(show);
  show();
}
