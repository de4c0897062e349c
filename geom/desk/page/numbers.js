"use strict";
/** Numbers as the trade writes them, and whether one can be a radius here. */

const VULGAR = { "¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8" };

/** What is typed as a number: 18.375, 18 3/8, 18-3/8, 3/8; NaN if it is none. */
function readNumber(text) {
  let plain = text.trim();
  for (const [sign, words] of Object.entries(VULGAR)) plain = plain.replace(sign, ` ${words} `);
  plain = plain.trim();
  if (/^\d+,\d+$/.test(plain)) plain = plain.replace(",", ".");
  if (/^[+-]?(\d+(\.\d*)?|\.\d+)$/.test(plain)) return Number(plain);
  const parts = /^([+-]?)(?:(\d+)(?:\s+|-))?(\d+)\s*\/\s*(\d+)$/.exec(plain);
  if (!parts || Number(parts[4]) === 0) return NaN;
  const size = Number(parts[2] ?? 0) + Number(parts[3]) / Number(parts[4]);
  return parts[1] === "-" ? -size : size;
}

/** Whether it says that nobody could reach there: as the sheet's reader has it. */
function noAccess(text) {
  return /^(no access|n\/a|-|\u2013|\u2014)$/i.test(text.trim().replace(/\s+/g, " "));
}

/** What speaks against a reading at once, in words; the desk asks more closely. */
function wrongWith(text, row, unit) {
  if (!text.trim()) return "Nothing is typed yet.";
  if (noAccess(text)) return "";
  const value = readNumber(text);
  if (Number.isNaN(value)) {
    const ways = unit === "in" ? "18 3/8 or 18.375" : "the number alone";
    return `“${text.trim()}” is not a number. Write ${ways}, without a unit.`;
  }
  if (!row) return "";
  const mm = value * MM_PER[unit];
  if (mm >= row.least && mm <= row.most) return "";
  const drawn = `drawn here: ${row.drawn}`;
  const across = Math.abs(Math.log(mm / 2 / row.drawnMm)) < 0.27 ? " Is this a diameter?" : "";
  const side = mm > row.most ? `more than ${sayLength(row.most, unit)}` : `less than ${sayLength(row.least, unit)}`;
  return `${text.trim()} is ${side}, which this wall cannot be; ${drawn}.${across} Mend it here, or read the rod again.`;
}

/** A text with its fraction set to another: "18" or "18 1/4" and "3/8" to "18 3/8". */
function withFraction(text, part) {
  const whole = /^\s*(\d+)/.exec(text);
  const bare = /^\s*\d+\s*\/\s*\d+\s*$/.test(text);
  if (part === "+1/16") {
    const value = readNumber(text);
    return Number.isNaN(value) ? text : asSixteenths(value + 1 / 16);
  }
  return whole && !bare ? `${whole[1]} ${part}` : part;
}

/** A number in sixteenths, brought to its lowest terms. */
function asSixteenths(value) {
  const steps = Math.round(value * 16);
  const whole = Math.floor(steps / 16);
  let top = steps % 16;
  let bottom = 16;
  while (top && top % 2 === 0) { top /= 2; bottom /= 2; }
  if (!top) return String(whole);
  return whole ? `${whole} ${top}/${bottom}` : `${top}/${bottom}`;
}
