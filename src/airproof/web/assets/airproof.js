// What a page does by itself: it says aloud what has changed, and sends files with their progress.
"use strict";

window.airproof = {
  aloud(text) {
    const line = document.getElementById("aloud");
    if (!line) return;
    line.textContent = "";
    clearTimeout(this.passing);
    line.onclick = () => { line.textContent = ""; };
    requestAnimationFrame(() => { line.textContent = text; });
    sessionStorage.setItem("aloud", JSON.stringify([Date.now(), text]));
    this.passing = setTimeout(() => { line.textContent = ""; }, 9000);
  },

  // What was said as the page was left for another is said there: nobody could have read it.
  again() {
    const [at, text] = JSON.parse(sessionStorage.getItem("aloud") ?? "[0]");
    if (Date.now() - at < 3000) this.aloud(text);
  },

  hear(text) {
    const line = document.getElementById("heard");
    if (line) line.textContent = line.textContent === text ? text + "\u00a0" : text;
  },

  // To a field that something is wrong with: laid open, in the middle of the screen, ready to be written in.
  lead(key) {
    const field = document.getElementById(key);
    for (let at = field?.closest("details"); at; at = at.parentElement.closest("details")) at.open = true;
    field?.focus({ preventScroll: true });
    field?.scrollIntoView({ block: "center" });
  },

  // A form that was taken folds, and one goes on from where it was, not from wherever the page has moved to.
  fold(form) {
    form.open = false;
    if (document.activeElement !== document.body && !form.contains(document.activeElement)) return;
    const summary = form.querySelector("summary"), { top, bottom } = summary.getBoundingClientRect();
    summary.focus({ preventScroll: true });
    if (top < 0 || bottom > innerHeight) summary.scrollIntoView({ block: "center" });
  },

  // Files go one after the other, each as it is, in the body of a request of its own.
  async send(place, files, role) {
    const said = place.querySelector("[data-said]"), bar = place.querySelector("progress");
    const stop = place.querySelector("[data-stop]");
    let stopped = false;
    place.querySelectorAll("[data-before]").forEach((one) => one.remove());
    for (const file of files) {
      if (stopped) break;
      if (file !== files[0]) { // what was said of the one before stays, also while the next is sent
        const before = said.cloneNode(true);
        before.removeAttribute("id");
        delete before.dataset.said;
        before.dataset.before = "";
        said.before(before);
      }
      bar.hidden = stop.hidden = false;
      bar.value = 0;
      said.textContent = `Sending ${file.name} ...`;
      await new Promise((done) => {
        const request = new XMLHttpRequest();
        request.upload.onprogress = (e) => {
          bar.value = e.loaded / e.total;
          if (e.loaded === e.total) said.textContent = `Reading ${file.name} ...`;
        };
        request.onload = () => {
          let answer = {};
          try { answer = JSON.parse(request.responseText); } catch { /* told below */ }
          said.textContent = answer.says || `${file.name} was not taken (${request.status}).`;
          if (answer.page) said.append(" ", Object.assign(document.createElement("a"), { href: answer.page, textContent: answer.leads }));
          done();
        };
        request.onerror = () => { said.textContent = `${file.name}: the connection broke; send it again.`; done(); };
        request.onabort = () => { said.textContent = `${file.name}: stopped; nothing of it was kept.`; stopped = true; done(); };
        stop.onclick = () => request.abort();
        request.open("POST", place.dataset.to);
        request.setRequestHeader("X-Name", encodeURIComponent(file.name));
        request.setRequestHeader("X-Role", role());
        request.setRequestHeader("X-Page", place.dataset.page);
        request.send(file);
      });
    }
    bar.hidden = stop.hidden = true;
  },

  give(place, files) {
    return this.send(place, [...files], () => place.querySelector("select")?.value || "car");
  },
};

// A place to drop files on takes them from the moment it is seen: whoever is quick must not give them to nobody.
document.addEventListener("change", (e) => {
  const place = e.target.matches("input[type=file]") && e.target.closest(".drop");
  if (place) airproof.give(place, e.target.files).then(() => { e.target.value = ""; });
});
for (const name of ["dragenter", "dragover", "dragleave", "drop"])
  document.addEventListener(name, (e) => {
    const place = e.target.closest?.(".drop");
    if (!place) return;
    if (name !== "dragleave") e.preventDefault();
    place.classList.toggle("over", name === "dragenter" || name === "dragover");
    if (name === "drop") airproof.give(place, e.dataTransfer.files);
  });

// A thumb on a picture as high as its screen scrolls the page: the picture hears its taps alone.
document.addEventListener("touchstart", (e) => {
  if (e.target.closest?.(".trace")) e.stopPropagation();
}, { capture: true, passive: true });

// What is costly to draw says when it comes into sight, once: places marked so, whenever they are put on the page.
const watching = new IntersectionObserver((all) => {
  for (const one of all) {
    if (!one.isIntersecting) continue;
    watching.unobserve(one.target);
    one.target.dispatchEvent(new CustomEvent("seen"));
  }
}, { rootMargin: "300px" });

const watch = () => document.querySelectorAll("[data-unseen]").forEach((place) => {
  if (place.dataset.unseen) return;
  place.dataset.unseen = "watched";
  watching.observe(place);
});
new MutationObserver(watch).observe(document.documentElement, { childList: true, subtree: true });
watch();

const arrived = new MutationObserver(() => {
  if (!document.getElementById("aloud")) return;
  arrived.disconnect();
  airproof.again();
});
arrived.observe(document.documentElement, { childList: true, subtree: true });

// What one has a hand on stays under it when a verdict or somebody else's fact comes in above: the button that is being
// pressed, else the field or button in focus, while it is in sight.
const hand = {
  pressed: null, on: null, top: 0,
  grasp() {
    const one = this.pressed ?? document.activeElement;
    const { top, bottom } = one?.getBoundingClientRect() ?? {};
    this.on = one && one !== document.body && bottom > 0 && top < innerHeight ? one : null;
    this.top = top;
  },
  stay() {
    if (!this.on?.isConnected) return this.grasp();
    const moved = this.on.getBoundingClientRect().top - this.top;
    if (Math.abs(moved) > 1) scrollBy({ top: moved, behavior: "instant" });
  },
};
for (const name of ["pointerdown", "pointerup", "pointercancel"])
  document.addEventListener(name, (e) => {
    hand.pressed = name === "pointerdown" ? e.target : null;
    hand.grasp();
  }, { capture: true, passive: true });
for (const name of ["focusin", "input", "toggle", "scroll"])
  document.addEventListener(name, () => hand.grasp(), { capture: true, passive: true });
addEventListener("resize", () => hand.grasp());
new MutationObserver(() => hand.stay()).observe(document.documentElement, { childList: true, subtree: true });

// Without a line to the server what is sent reaches nobody, and the page is loaded anew once it is back: it stays unsent.
// Before there was a line at all it waits for that, since the page has only just come.
document.addEventListener("submit", (e) => {
  if (!window.did_handshake || window.socket.connected) return;
  e.preventDefault();
  e.stopImmediatePropagation();
  airproof.aloud("There is no connection, so nothing was sent. What you typed stays here: send it again once there is one.");
}, true);

// What was typed and not sent yet outlives a reload, in this tab alone: a phone drops a page that is out of sight while
// one takes a photo. A field is known by its page, by what it is folded under, and by its name. Pages on which something
// is asked twice on purpose keep nothing.
const unsent = {
  ticked: (field) => field.type === "checkbox" || field.type === "radio",
  name(field) {
    const folds = [];
    for (let at = field.closest("details"); at; at = at.parentElement.closest("details"))
      folds.push(at.querySelector("summary").textContent);
    return [location.pathname, ...folds, field.name, this.ticked(field) ? field.value : ""].join("|");
  },
  fields: (place) => [...place.elements].filter((one) => one.name && one.type !== "password" && one.type !== "file"),
  keep(fields) {
    for (const one of fields) sessionStorage.setItem(this.name(one), this.ticked(one) ? one.checked : one.value);
  },
  forget(fields) {
    for (const one of fields) sessionStorage.removeItem(this.name(one));
  },
  // All are set before any is told of: one radio that speaks has its alike kept as they stand at that moment.
  bring(fields) {
    const kept = fields.filter((one) => sessionStorage.getItem(this.name(one)) !== null);
    for (const one of kept) {
      const value = sessionStorage.getItem(this.name(one));
      if (this.ticked(one)) one.checked = value === "true";
      else one.value = value;
    }
    for (const one of kept) one.dispatchEvent(new Event("input", { bubbles: true }));
  },
};
if (/^\/(new|job\/\d+(\/(step|headings)\/[^/]+)?)$/.test(location.pathname)) {
  document.addEventListener("input", ({ target }) => {
    if (!target.form || !target.name) return;
    const alike = target.type === "radio" ? [...target.form.elements].filter((one) => one.name === target.name) : [target];
    unsent.keep(alike.filter((one) => unsent.fields(target.form).includes(one)));
  });
  document.addEventListener("submit", (e) => unsent.forget(unsent.fields(e.target)), true);
  new MutationObserver((all) => {
    for (const { target, addedNodes } of all) {
      const refused = (target.closest ? target : target.parentElement)?.closest("form .wrong");
      if (refused?.textContent) unsent.keep(unsent.fields(refused.closest("form")));
      for (const one of addedNodes)
        if (one.matches?.("form")) unsent.bring(unsent.fields(one));
        else one.querySelectorAll?.("form").forEach((form) => unsent.bring(unsent.fields(form)));
    }
  }).observe(document.documentElement, { childList: true, characterData: true, subtree: true });
}
