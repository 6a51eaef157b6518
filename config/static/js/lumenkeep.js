// Scanner, sounds, "Sending…" and the two settings of a station. Every page works without it, as plain forms.
//
// A page that takes scans has <form data-scan-form> with one <input data-scan-input> and one button; a hidden
// <input data-scan-key> gets a fresh key for each scan; an element [data-now] holds a .now panel with what came of the
// last scan. Whatever answers a step carries data-result="taken", "look" or "stop".
"use strict";
{
  const body = document.body;
  const elementFrom = (tag, className, text) =>
    Object.assign(document.createElement(tag), { className, textContent: text.replaceAll("\u001D", " ") });

  // ---- Sounds: two rising notes, two equal notes, one falling note; each [from Hz, to Hz, after s, lasts s]

  const NOTES = {
    taken: [[660, 660, 0, 0.06], [990, 990, 0.07, 0.06]],
    look: [[520, 520, 0, 0.12], [520, 520, 0.18, 0.12]],
    stop: [[220, 165, 0, 0.6]],
  };
  const LOUDNESS = 0.25;
  const EDGE_S = 0.01; // rise and fall, so that a note does not click
  let audio = null;
  const muted = () => localStorage.getItem("muted") === "yes";

  function wakeAudio() {
    audio ??= new AudioContext();
    if (audio.state === "suspended") audio.resume();
  }
  // Browsers keep silent until the first key or tap.
  for (const gesture of ["keydown", "pointerdown"]) {
    document.addEventListener(gesture, wakeAudio, { capture: true, once: true });
  }

  function play(result) {
    if (muted() || !audio) return;
    for (const [from, to, after, lasts] of NOTES[result] ?? []) {
      const start = audio.currentTime + EDGE_S + after;
      const tone = audio.createOscillator();
      const gain = audio.createGain();
      tone.frequency.setValueAtTime(from, start);
      tone.frequency.linearRampToValueAtTime(to, start + lasts);
      gain.gain.setValueAtTime(0, start);
      gain.gain.linearRampToValueAtTime(LOUDNESS, start + EDGE_S);
      gain.gain.setValueAtTime(LOUDNESS, start + lasts - EDGE_S);
      gain.gain.linearRampToValueAtTime(0, start + lasts);
      tone.connect(gain).connect(audio.destination);
      tone.start(start);
      tone.stop(start + lasts);
    }
  }

  document.addEventListener("htmx:load", (event) => {
    if (event.target === body) return; // the page as it came; only answers sound
    const panel = event.target.matches("[data-result]") ? event.target : event.target.querySelector("[data-result]");
    if (panel) play(panel.dataset.result);
  });

  // ---- What the page itself says

  function refuse(fact) {
    const line = document.querySelector("template[data-refusal]").content.cloneNode(true);
    line.querySelector(".strip-text").append(` ${fact}`);
    document.querySelector("[data-notices]").prepend(line);
    play("stop");
  }

  function sayNow(word, what, look = "is-waiting") {
    const panel = document.querySelector("[data-now]");
    if (!panel) return;
    const now = elementFrom("div", `now ${look}`, "");
    now.append(elementFrom("p", "now-word", word), elementFrom("p", "now-what", what));
    panel.querySelectorAll(".now").forEach((old) => old.remove());
    panel.removeAttribute("data-result");
    panel.append(now);
  }

  // ---- The queue: one scan at a time, strictly in order; it survives a reload of the same page by the same person

  const STORE = "scans";
  const SLOW_MS = 1000;
  const AGAIN_MS = 2000;
  let waiting = [];
  let inFlight = null;
  let submitting = false;

  const scanForm = () => (document.querySelector("dialog[open]") ?? document).querySelector("[data-scan-form]");
  const isPlain = (form) => typeof htmx === "undefined" || !form.hasAttribute("hx-post");

  /** A UUID of version 4 (RFC 9562); crypto.randomUUID is missing on addresses without TLS. */
  function newKey() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }

  function keep(form) {
    // A plain form leaves the page with its scan; what comes back is the answer to it.
    const scans = inFlight && !isPlain(form) ? [inFlight.scan, ...waiting] : waiting;
    const place = { action: form.action, person: body.dataset.person };
    if (scans.length) sessionStorage.setItem(STORE, JSON.stringify({ ...place, scans }));
    else sessionStorage.removeItem(STORE);
  }

  function take(text) {
    const form = scanForm();
    if (!form) {
      const remedy = document.querySelector("dialog[open]") ? "Answer the question first" : "Open Scan";
      refuse(`This page takes no scans, so nothing was recorded. ${remedy}, then scan again.`);
      return;
    }
    waiting.push({ text, key: newKey() });
    keep(form);
    sendNext();
  }

  function sendNext() {
    const form = scanForm();
    if (inFlight || !waiting.length || !form) return;
    const scan = waiting.shift();
    const more = () => (waiting.length ? `${scan.text}, and ${waiting.length} more` : scan.text);
    const slow = setTimeout(() => sayNow("Waiting for the server", more()), SLOW_MS);
    inFlight = { scan, form, slow };
    keep(form);
    sayNow("Sending…", more());
    submit(form, scan);
  }

  function submit(form, scan) {
    const input = form.querySelector("[data-scan-input]");
    const key = form.querySelector("[data-scan-key]");
    const halfTyped = input.value;
    input.value = scan.text;
    if (key) key.value = scan.key;
    submitting = true;
    form.requestSubmit();
    submitting = false;
    input.value = halfTyped;
  }

  function settle(xhr) {
    const { scan, form, slow } = inFlight;
    clearTimeout(slow);
    inFlight = null;
    const lost = xhr.status === 0;
    if (lost) {
      waiting.unshift(scan); // with the same key, so that the server takes it once
      sayNow("Waiting for the server", `${waiting.length} to send`);
    } else if (xhr.status >= 400 && ![409, 422].includes(xhr.status)) {
      sayNow("Not taken", scan.text, "is-stop");
      refuse(`${scan.text} was not taken: the server answered ${xhr.status}. Load the page again and repeat it.`);
    }
    keep(form);
    if (!xhr.getResponseHeader("HX-Redirect")) setTimeout(sendNext, lost ? AGAIN_MS : 0);
  }

  document.addEventListener("htmx:afterRequest", (event) => {
    const { xhr, requestConfig } = event.detail;
    if (inFlight && requestConfig.elt === inFlight.form) settle(xhr);
    else if (requestConfig.elt.matches("[data-keeps-current]")) return; // it says itself when it is out of date
    else if (xhr.status === 0 || (xhr.status >= 400 && ![409, 422].includes(xhr.status))) {
      refuse("There was no answer to what you pressed. Load the page again and look whether it was taken.");
    }
  });

  // An answer may swap the pressed button away: the field is where the work goes on.
  document.addEventListener("htmx:afterSettle", () => {
    if (document.activeElement === body) scanForm()?.querySelector("[data-scan-input]").focus();
  });

  // Signed out meanwhile: go to the sign-in as a page, not into a panel.
  document.addEventListener("htmx:beforeSwap", (event) => {
    const answeredBy = new URL(event.detail.xhr.responseURL || location.href);
    if (answeredBy.pathname !== body.dataset.signIn || location.pathname === body.dataset.signIn) return;
    event.preventDefault();
    if (inFlight) waiting.unshift(inFlight.scan);
    inFlight = null;
    const form = scanForm();
    if (form) keep(form);
    location.assign(`${body.dataset.signIn}?next=${encodeURIComponent(location.pathname + location.search)}`);
  });

  // A typed code goes the way of a scanned one.
  document.addEventListener(
    "submit",
    (event) => {
      if (submitting || !event.target.matches("[data-scan-form]")) return;
      event.preventDefault();
      event.stopImmediatePropagation();
      const input = event.target.querySelector("[data-scan-input]");
      const text = input.value; // spaces and all: the check character of a mark may be one
      input.value = "";
      if (text.trim()) setTimeout(take, 0, text); // a form cannot be submitted while it is being submitted
    },
    true,
  );

  function resume() {
    const kept = JSON.parse(sessionStorage.getItem(STORE) ?? "null");
    if (!kept || !body.dataset.person) return; // signed out: wait for the sign-in
    const form = scanForm();
    if (form && kept.action === form.action && kept.person === body.dataset.person) {
      waiting = kept.scans;
      sendNext();
    } else {
      sessionStorage.removeItem(STORE);
      const marks = kept.scans.map((scan) => scan.text).join(", ");
      refuse(`The page changed before these scans were sent: ${marks}. Scan them again where they belong.`);
    }
  }
  addEventListener("load", resume);

  // ---- The scanner: a keyboard wedge, told from a person by its speed

  const GS = "\u001D"; // the separator of GS1 element strings; browsers keep it out of fields
  const LEAST = 4; // characters
  const MEAN_MS = 35;
  const GAP_MS = 60;
  // What a key of a US keyboard gives plain and with Shift: scanners are set to that layout, whatever the host's is.
  const US = {
    Backquote: "`~", Digit1: "1!", Digit2: "2@", Digit3: "3#", Digit4: "4$", Digit5: "5%", Digit6: "6^", Digit7: "7&",
    Digit8: "8*", Digit9: "9(", Digit0: "0)", Minus: "-_", Equal: "=+", BracketLeft: "[{", BracketRight: "]}",
    Backslash: "\\|", Semicolon: ";:", Quote: "'\"", Comma: ",<", Period: ".>", Slash: "/?", Space: "  ",
  };
  let burst = null;

  function character(event) {
    if (event.key === "F8" || event.key === GS || (event.ctrlKey && event.code === "BracketRight")) return GS;
    if (event.ctrlKey || event.altKey || event.metaKey || event.key.length !== 1) return null;
    const letter = /^Key([A-Z])$/.exec(event.code)?.[1];
    const [plain, shifted] = letter ? [letter.toLowerCase(), letter] : (US[event.code] ?? [event.key, event.key]);
    // Software that types for a scanner may send the shifted character without the Shift key.
    const unsaid = event.key === shifted && !event.getModifierState("CapsLock");
    return event.shiftKey || unsaid ? shifted : plain;
  }

  const holdsText = (element) =>
    element.matches("textarea, select, input:not([type=button], [type=submit], [type=reset], [type=checkbox], [type=radio])");

  function isScan(end) {
    if (!burst || burst.text.length < LEAST || end - burst.last > GAP_MS) return false;
    if (burst.field && !scanForm()) return false; // a password manager types fast, too
    return (burst.last - burst.first) / (burst.text.length - 1) <= MEAN_MS;
  }

  function putBack({ field, before }) {
    if (!field) return;
    field.value = field.matches("[data-scan-input]") ? "" : before;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  // ---- The scanner card: what the keys of one scan were, whatever their speed

  const SILENCE_MS = 700;
  const ENDS = { Enter: "enter", Tab: "tab" };
  const checkForm = document.querySelector("[data-scanner-check]");
  let measured = null;

  function measure(event, lineFeed) {
    const end = lineFeed ? "line feed" : ENDS[event.key];
    const read = end || event.repeat ? null : character(event);
    if (end && !measured) return; // a person's own Tab or Enter
    if (read !== null) {
      measured ??= { text: "", times: [], capsLock: event.getModifierState("CapsLock") };
      measured.text += read;
      measured.times.push(event.timeStamp);
      clearTimeout(measured.silence);
      measured.silence = setTimeout(sendMeasured, SILENCE_MS, "");
    }
    if (end || read !== null) event.preventDefault();
    if (end) sendMeasured(end);
  }

  function sendMeasured(end) {
    const { text, times, capsLock, silence } = measured;
    clearTimeout(silence);
    measured = null;
    if (text.length < LEAST) return;
    const gaps = times.slice(1).map((time, place) => time - times[place]);
    const fields = checkForm.elements;
    fields.text.value = text;
    fields.ended.value = end;
    fields.mean_ms.value = (times.at(-1) - times[0]) / gaps.length;
    fields.longest_ms.value = Math.max(...gaps);
    fields.caps_lock.value = capsLock ? "on" : "";
    checkForm.requestSubmit();
  }

  function readKey(event) {
    if (event.isComposing || ["Shift", "Control", "Alt", "AltGraph", "CapsLock"].includes(event.key)) return;
    const lineFeed = event.ctrlKey && event.code === "KeyJ"; // would open the browser's downloads
    if (lineFeed) event.preventDefault();
    if (checkForm) {
      measure(event, lineFeed);
      return;
    }
    if (lineFeed || event.key === "Enter" || event.key === "Tab") {
      if (isScan(event.timeStamp)) {
        event.preventDefault();
        event.stopImmediatePropagation();
        putBack(burst);
        take(burst.text);
      }
      burst = null;
      return;
    }
    const read = event.repeat ? null : character(event);
    if (read === null) {
      burst = null;
      return;
    }
    if (!burst || event.timeStamp - burst.last > GAP_MS) {
      const field = holdsText(event.target) ? event.target : null;
      burst = { text: "", first: event.timeStamp, field, before: field?.value };
    }
    burst.text += read;
    burst.last = event.timeStamp;
    // Separators reach no field; and a scan must not press the button that happens to have the focus.
    if (read === GS || (!burst.field && burst.text.length > 1)) event.preventDefault();
  }
  document.addEventListener("keydown", readKey, { capture: true });

  // ---- Buttons that only exist with JavaScript

  for (const button of document.querySelectorAll("[data-type-code]")) {
    button.hidden = false;
    button.addEventListener("click", () => {
      const input = button.form.querySelector("[data-scan-input]");
      input.inputMode = "text";
      input.focus();
    });
  }

  const mute = document.querySelector("[data-mute]");
  const showMute = () => {
    mute.querySelector("[data-label]").textContent = muted() ? "Sound off" : "Sound on";
    const use = mute.querySelector("use");
    use.setAttribute("href", use.getAttribute("href").replace(/#.*/, muted() ? "#volume-x" : "#volume-2"));
  };
  if (mute) {
    mute.hidden = false;
    showMute();
    mute.addEventListener("click", () => {
      localStorage.setItem("muted", muted() ? "no" : "yes");
      showMute();
      play("taken");
    });
  }

  const THEMES = { "": "Theme as the device", light: "Light theme", dark: "Dark theme" };
  const theme = document.querySelector("[data-theme-toggle]");
  const root = document.documentElement;
  const showTheme = () => {
    theme.querySelector("[data-label]").textContent = THEMES[root.dataset.theme ?? ""];
  };
  if (theme) {
    theme.hidden = false;
    showTheme();
    theme.addEventListener("click", () => {
      const names = Object.keys(THEMES);
      const next = names[(names.indexOf(root.dataset.theme ?? "") + 1) % names.length];
      if (next) root.dataset.theme = next;
      else delete root.dataset.theme;
      document.cookie = `theme=${next}; path=/; max-age=31536000; samesite=strict`;
      showTheme();
    });
  }
}
