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
    button.textContent = loud ? "Sound is on" : "Sound is off";
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

  function show(html) {
    const open = [...bench.querySelectorAll("details")].map((d) => d.open);
    const at = document.activeElement;
    const where = bench.contains(at) ? [...bench.querySelectorAll("a, button, input, summary")].indexOf(at) : -1;
    bench.innerHTML = html;
    if (where >= 0) [...bench.querySelectorAll("a, button, input, summary")][where]?.focus();
    bench.querySelectorAll("details").forEach((d, i) => { d.open = d.open || open[i] || false; });
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
    live.addEventListener("error", () => {
      lost.hidden = false;
      if (live.readyState === EventSource.CLOSED) setTimeout(connect, 2000);
    });
  }
  bench.addEventListener("focusout", () => { if (pending) { show(pending); pending = null; } });
  connect();
})();
