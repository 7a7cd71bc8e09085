// What a page does by itself: it says aloud what has changed, and sends files with their progress.
"use strict";

window.airproof = {
  aloud(text) {
    const line = document.getElementById("aloud");
    if (!line) return;
    line.textContent = "";
    clearTimeout(this.passing);
    requestAnimationFrame(() => { line.textContent = text; });
    this.passing = setTimeout(() => { line.textContent = ""; }, 9000);
  },

  // Files go one after the other, each as it is, in the body of a request of its own.
  async send(place, files, role) {
    const said = place.querySelector("[data-said]"), bar = place.querySelector("progress");
    const stop = place.querySelector("[data-stop]");
    let stopped = false;
    for (const file of files) {
      if (stopped) break;
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
          done();
        };
        request.onerror = () => { said.textContent = `${file.name}: the connection broke; send it again.`; done(); };
        request.onabort = () => { said.textContent = `${file.name}: stopped; nothing of it was kept.`; stopped = true; done(); };
        stop.onclick = () => request.abort();
        request.open("POST", place.dataset.to);
        request.setRequestHeader("X-Name", encodeURIComponent(file.name));
        request.setRequestHeader("X-Role", role());
        request.send(file);
      });
    }
    bar.hidden = stop.hidden = true;
  },

  // A place to drop files on: the button in it opens the system's own chooser.
  drop(id) {
    const place = document.getElementById(id);
    if (!place || place.dataset.ready) return;
    place.dataset.ready = "yes";
    const input = place.querySelector("input[type=file]");
    const role = () => place.querySelector("select")?.value || "car";
    input.addEventListener("change", () => { this.send(place, [...input.files], role).then(() => { input.value = ""; }); });
    for (const name of ["dragenter", "dragover"])
      place.addEventListener(name, (e) => { e.preventDefault(); place.classList.add("over"); });
    for (const name of ["dragleave", "drop"]) place.addEventListener(name, () => place.classList.remove("over"));
    place.addEventListener("drop", (e) => { e.preventDefault(); this.send(place, [...e.dataTransfer.files], role); });
  },
};
