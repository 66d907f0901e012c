"use strict";
(function () {
  const data = JSON.parse(document.getElementById("data").textContent);
  const by = (id) => document.getElementById(id);
  const paths = data.shapes.map((name) => by("live-" + name));
  const clock = by("live-clock"), mark = by("live-mark");
  const slider = by("at"), play = by("play"), time = by("time");
  const last = data.frames.length - 1;
  let frame = 0, playing = false, before = 0, rest = 0;

  function show(k) {
    frame = Math.min(Math.max(k, 0), last);
    const f = data.frames[frame];
    paths.forEach((path, i) => path.setAttribute("d", f.d[i]));
    clock.textContent = f.t;
    mark.textContent = f.m[2];
    mark.setAttribute("x", f.m[0]);
    mark.setAttribute("y", f.m[1]);
    slider.value = String(frame);
    slider.setAttribute("aria-valuetext", f.t);
    time.textContent = f.t;
  }
  function set(on) {
    playing = on;
    play.textContent = on ? "\u275A\u275A" : "\u25B6";
    play.setAttribute("aria-label", on ? "pause" : "play");
    before = 0;
    if (on) {
      if (frame === last) { show(0); }
      requestAnimationFrame(step);
    }
  }
  function step(now) {
    if (!playing) { return; }
    if (before) { rest += (now - before) / 1000 * data.rate * Number(by("speed").value); }
    before = now;
    const whole = Math.floor(rest);
    if (whole > 0) {
      rest -= whole;
      show(frame + whole);
      if (frame === last) { set(false); return; }
    }
    requestAnimationFrame(step);
  }
  slider.max = String(last);
  slider.addEventListener("input", () => { set(false); show(Number(slider.value)); });
  play.addEventListener("click", () => set(!playing));
  by("back").addEventListener("click", () => { set(false); show(frame - 1); });
  by("on").addEventListener("click", () => { set(false); show(frame + 1); });
  document.addEventListener("keydown", (event) => {
    if (event.target !== document.body) { return; }
    if (event.key === " ") { event.preventDefault(); set(!playing); }
    if (event.key === "ArrowRight") { set(false); show(frame + 1); }
    if (event.key === "ArrowLeft") { set(false); show(frame - 1); }
  });
  by("controls").hidden = false;
  show(0);
  if (!window.matchMedia("(prefers-reduced-motion: reduce)").matches) { set(true); }
})();
