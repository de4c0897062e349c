"use strict";
/** Speaks with the desk: sends what is kept until it has it, and asks for news. */

const SOONEST = 400; // ms before another try
const LATEST = 5000;

/**
 * @param kept the keeper
 * @param key of the sheet
 * @param hear called as hear.state(state), hear.verdicts(list), hear.changed()
 */
function makeSender(kept, key, hear) {
  const sender = { connected: false, trouble: "", other: "", version: -1, sending: false };
  let wait = SOONEST;
  let timer = 0;

  async function ask(path, options, patience) {
    const end = new AbortController();
    const alarm = setTimeout(() => end.abort(), patience);
    try {
      const answer = await fetch(path, { ...options, signal: end.signal, cache: "no-store" });
      return { status: answer.status, reply: await answer.json() };
    } finally {
      clearTimeout(alarm);
    }
  }

  function take(state) {
    if (state.sheet !== key) {
      sender.other = state.file;
      return;
    }
    sender.other = "";
    sender.version = state.version;
    hear.state(state);
  }

  /** Send all that waits; what fails is sent again, later and later. */
  async function push() {
    if (sender.sending || sender.other) return;
    const events = kept.waiting().slice(0, 200);
    if (!events.length) return;
    sender.sending = true;
    clearTimeout(timer);
    let again = false;
    try {
      const { status, reply } = await ask("/entries", {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ sheet: key, events }),
      }, 15000);
      sender.connected = true;
      if (status === 200) {
        sender.trouble = "";
        wait = SOONEST;
        for (const { event, kept: done, why } of reply.verdicts) {
          if (done) kept.drop(event);
          else kept.refuse(event, why);
        }
        hear.verdicts(reply.verdicts);
        take(reply.state);
      } else {
        if (status === 409) sender.other = "another sheet";
        sender.trouble = reply.why ?? `the desk answers ${status}`;
        again = true;
      }
    } catch {
      sender.connected = false;
      again = true;
    }
    sender.sending = false;
    if (again) later();
    else if (kept.waiting().length) push();
    hear.changed();
  }

  function later() {
    clearTimeout(timer);
    timer = setTimeout(push, wait);
    wait = Math.min(wait * 2, LATEST);
  }

  /** Ask for news for ever; the desk answers when there are some. */
  async function listen() {
    let pause = SOONEST;
    for (;;) {
      try {
        const { status, reply } = await ask(`/state?since=${sender.version}`, {}, 25000);
        if (status !== 200) throw new Error(String(status));
        const back = !sender.connected;
        sender.connected = true;
        pause = SOONEST;
        const news = reply.state.version !== sender.version;
        if (news && !sender.sending) take(reply.state);
        if (back) {
          wait = SOONEST;
          push();
        }
        if (back || news) hear.changed();
        if (sender.sending) await new Promise((go) => setTimeout(go, 100));
        if (sender.other) await new Promise((go) => setTimeout(go, LATEST));
      } catch {
        if (sender.connected) {
          sender.connected = false;
          hear.changed();
        }
        await new Promise((go) => setTimeout(go, pause));
        pause = Math.min(pause * 2, LATEST);
      }
    }
  }

  window.addEventListener("online", () => push());
  window.addEventListener("offline", () => {
    sender.connected = false;
    hear.changed();
  });
  return Object.assign(sender, { push, listen });
}
