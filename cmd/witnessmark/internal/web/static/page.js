// Keeps the page of a bench up to date. Without this script the page works and shows what was when it was loaded.
"use strict";
(() => {
  const bench = document.getElementById("bench");
  if (!bench) return;
  const lost = document.getElementById("lost");
  const button = document.getElementById("sound");
  let loud = localStorage.getItem("sound") !== "off";
  let audio = null;

  const tell = () => {
    button.textContent = loud ? button.dataset.loud : button.dataset.quiet;
    button.setAttribute("aria-pressed", String(loud));
  };
  button.addEventListener("click", () => {
    loud = !loud;
    localStorage.setItem("sound", loud ? "on" : "off");
    tell();
    if (loud) sound("pass");
  });
  tell();

  // A high short tone for a pass, two low ones for everything else.
  function sound(what) {
    if (!loud || !what) return;
    if (navigator.vibrate) navigator.vibrate(what === "pass" ? 60 : [150, 80, 150]);
    audio = audio || new AudioContext();
    const tones = what === "pass" ? [[880, 0]] : [[220, 0], [220, 0.25]];
    for (const [pitch, after] of tones) {
      const tone = audio.createOscillator(), level = audio.createGain();
      tone.frequency.value = pitch;
      level.gain.value = 0.2;
      tone.connect(level).connect(audio.destination);
      tone.start(audio.currentTime + after);
      tone.stop(audio.currentTime + after + 0.15);
    }
  }

  // What a person is about to type is not taken away from under their hands.
  function busy() {
    const at = document.activeElement;
    return at && bench.contains(at) && at.tagName === "INPUT" && at.value !== "";
  }

  // Only what has changed is replaced, so that nothing moves under a finger or loses the focus.
  function show(html) {
    const fresh = document.createElement("div");
    fresh.innerHTML = html;
    // What a person has opened stays open, but only while it is about the same: of another reading it closes.
    const opened = [...bench.querySelectorAll("details[open]")].map((d) => d.innerHTML);
    fresh.querySelectorAll("details").forEach((d) => { if (opened.includes(d.innerHTML)) d.open = true; });
    renew(bench, fresh, 3);
  }

  function renew(old, fresh, depth) {
    const was = [...old.children], is = [...fresh.children];
    if (depth === 0 || was.length !== is.length || was.length === 0) {
      old.replaceChildren(...fresh.childNodes);
      return;
    }
    was.forEach((w, i) => {
      if (w.isEqualNode(is[i])) return;
      if (w.tagName === is[i].tagName && w.className === is[i].className && !["svg", "DETAILS"].includes(w.tagName)) renew(w, is[i], depth - 1);
      else w.replaceWith(is[i]);
    });
  }

  let pending = null;
  function connect() {
    const live = new EventSource(bench.dataset.live);
    live.addEventListener("open", () => { lost.hidden = true; });
    live.addEventListener("bench", (e) => {
      lost.hidden = true;
      const cut = e.data.indexOf("\n");
      sound(e.data.slice(0, cut));
      const html = e.data.slice(cut + 1);
      if (busy()) { pending = html; return; }
      show(html);
    });
    live.addEventListener("over", () => { live.close(); location.reload(); });
    live.addEventListener("error", () => {
      lost.hidden = false;
      if (live.readyState === EventSource.CLOSED) setTimeout(connect, 2000);
    });
  }
  bench.addEventListener("focusout", () => { if (pending) { show(pending); pending = null; } });
  connect();
})();

// Keeps an eye on the check of the ledger until it is done.
(() => {
  const check = document.getElementById("check");
  if (!check || !check.dataset.progress) return;
  const live = new EventSource(check.dataset.progress);
  live.addEventListener("over", () => { live.close(); location.reload(); });
  live.addEventListener("bench", (e) => {
    check.innerHTML = e.data.slice(e.data.indexOf("\n") + 1);
    if (check.querySelector("progress")) return;
    live.close();
    document.querySelectorAll("button:disabled").forEach((b) => { b.disabled = false; });
  });
})();

// A form goes off once, however often its button is pressed before the answer comes.
(() => {
  document.addEventListener("submit", (e) => {
    if (e.target.dataset.sent) e.preventDefault();
    e.target.dataset.sent = "yes";
  });
  addEventListener("pageshow", () => document.querySelectorAll("form[data-sent]").forEach((f) => { delete f.dataset.sent; }));
})();
