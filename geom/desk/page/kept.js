"use strict";
/** What this browser keeps until the desk has it: every deed under a name of its own, so
 * that two windows never write over each other. */

/** A name that nobody else makes. */
function newMark() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (one) => one.toString(16).padStart(2, "0")).join("");
}

/** The keeper of one sheet's deeds, the last state of the desk and the half-typed text. */
function makeKept(key) {
  const prefix = `desk ${key} `;
  let works = true;
  let last = 0;

  function write(name, value) {
    try {
      localStorage.setItem(prefix + name, JSON.stringify(value));
      return true;
    } catch {
      works = false;
      return false;
    }
  }

  function read(name) {
    try {
      return JSON.parse(localStorage.getItem(prefix + name));
    } catch {
      return null;
    }
  }

  /** Names of all that is stored here, of any sheet. */
  function names() {
    try {
      return Object.keys(localStorage);
    } catch {
      works = false;
      return [];
    }
  }

  const inMemory = new Map(); // where nothing can be stored, as long as the page is open

  /** All deeds that are not on disk yet, oldest first. */
  function all() {
    const found = new Map(inMemory);
    for (const name of names().filter((one) => one.startsWith(`${prefix}deed `))) {
      const stored = read(name.slice(prefix.length));
      if (stored) found.set(stored.event.id, stored);
    }
    return [...found.values()].sort((a, b) => a.order - b.order);
  }

  // What was shown of other sheets is not needed any more; their deeds are.
  for (const name of names().filter((one) => /^desk \w+ (state|draft)$/.test(one) && !one.startsWith(prefix))) {
    try { localStorage.removeItem(name); } catch { works = false; }
  }

  return {
    get works() { return works; },
    /** Keep a deed. */
    add(event) {
      last = Math.max(Date.now(), last + 1);
      const stored = { event, order: last, why: "" };
      if (!write(`deed ${event.id}`, stored)) inMemory.set(event.id, stored);
    },
    /** Forget a deed: the desk has it, or the hand dropped it. */
    drop(id) {
      inMemory.delete(id);
      try { localStorage.removeItem(`${prefix}deed ${id}`); } catch { works = false; }
    },
    /** Mark a deed as refused, with why; it is sent no more. */
    refuse(id, why) {
      const stored = all().find((one) => one.event.id === id);
      if (stored && !write(`deed ${id}`, { ...stored, why })) inMemory.set(id, { ...stored, why });
    },
    /** Deeds to be sent. */
    waiting() { return all().filter((one) => !one.why).map((one) => one.event); },
    /** Deeds that the desk refused: {event, why}. */
    refused() { return all().filter((one) => one.why); },
    /** How many deeds of other sheets lie here. */
    ofOthers() {
      return names().filter((one) => /^desk \w+ deed /.test(one) && !one.startsWith(prefix)).length;
    },
    read,
    write,
  };
}
