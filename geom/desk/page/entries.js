"use strict";
/** The list of readings, the newest first; each can be corrected or withdrawn. */

/** Show the list.
 * @param lines {id, text, note, where, withdrawn, slip, number, waiting, refused}
 * @param act called as act(deed, line): "correct", "withdraw", "put back", "mend", "drop"
 */
function showEntries(list, lines, act, sure) {
  const items = lines.map((line) => {
    const item = made("li", undefined, line.withdrawn ? "gone" : "");
    item.dataset.entry = line.id;
    item.append(made("span", line.text, "read"));
    const place = made("span", line.where, "place");
    const rest = [line.number ? `No. ${line.number}` : "", line.note, line.withdrawn ? "withdrawn" : "",
      line.waiting ? "not yet saved" : ""].filter(Boolean);
    place.append(made("small", rest.join(" · ")));
    if (line.slip && !line.withdrawn) place.append(made("strong", `Measure again: ${line.slip}`));
    if (line.refused) place.append(made("strong", `Refused: ${line.refused}`));
    item.append(place);
    const button = (words, deed, classes) => {
      const one = made("button", words, classes);
      one.type = "button";
      one.addEventListener("click", () => act(deed, line));
      item.append(one);
    };
    if (line.refused) {
      button("Mend", "mend");
      button(sure === line.id ? "Yes, drop it" : "Drop", "drop", sure === line.id ? "sure" : "");
    } else if (line.withdrawn) button("Put back", "put back");
    else {
      button("Correct", "correct");
      button(sure === line.id ? "Yes, withdraw" : "Withdraw", "withdraw", sure === line.id ? "sure" : "");
    }
    return item;
  });
  if (!items.length) items.push(made("li", "None yet."));
  list.replaceChildren(...items);
}
