// Comfort only: every form and every table works without this script.
"use strict";

// Long work: follow its progress, then put the finished part in place of the waiting one.
function follow(part) {
  const line = part.querySelector("[data-work]");
  if (!line) return;
  const bar = line.querySelector("progress");
  const said = line.querySelector("span");
  const look = async () => {
    let state;
    try {
      const answer = await fetch(line.dataset.work, { headers: { Accept: "application/json" } });
      state = answer.ok ? await answer.json() : { done: true };
    } catch {
      said.textContent = "the page's server does not answer";
      setTimeout(look, 3000);
      return;
    }
    if (!state.done) {
      bar.value = state.share;
      said.textContent = state.said;
      setTimeout(look, 500);
      return;
    }
    const whole = await (await fetch(location.href)).text();
    const fresh = new DOMParser().parseFromString(whole, "text/html").getElementById(part.id);
    if (!fresh) {
      line.querySelector(".again").hidden = false;
      said.textContent = "It is done, but could not be shown.";
      return;
    }
    part.replaceWith(fresh);
    enliven(fresh);
    if (fresh.hasAttribute("data-part")) follow(fresh);
  };
  setTimeout(look, 300);
}

// A picture tells the values of the point nearest to the pointer or the finger.
function readable(figure) {
  const svg = figure.querySelector("svg.figure");
  const read = figure.querySelector(".read");
  const series = JSON.parse(figure.dataset.points || "[]");
  if (!svg || !read || !series.length) return;
  const spot = document.createElementNS("http://www.w3.org/2000/svg", "circle");
  spot.setAttribute("r", "4");
  spot.setAttribute("class", "spot");
  svg.addEventListener("pointermove", (event) => tell(event));
  svg.addEventListener("pointerdown", (event) => tell(event));
  svg.addEventListener("pointerleave", (event) => {
    if (event.pointerType === "mouse") spot.remove();
  });
  function tell(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    let nearest = null;
    let least = 30 * 30;
    for (const one of series) {
      for (const point of one.points) {
        const apart = (point[0] - at.x) ** 2 + (point[1] - at.y) ** 2;
        if (apart < least) [nearest, least] = [{ one, point }, apart];
      }
    }
    if (!nearest) return;
    const { one, point } = nearest;
    spot.setAttribute("cx", point[0]);
    spot.setAttribute("cy", point[1]);
    svg.append(spot);
    const name = one.name ? one.name + ": " : "";
    read.textContent = name + [point[2], point[3]].filter(Boolean).join(", ");
  }
}

// Files can be dropped, and what the server would refuse for its size is said before it is sent.
function droppable(box) {
  const input = box.querySelector("input[type=file]");
  const weigh = () => {
    const size = [...input.files].reduce((sum, file) => sum + file.size, 0);
    const most = Number(input.dataset.limit);
    const large = size > most ? `Together these files have ${Math.ceil(size / 1e6)} MB; ${most / 1e6} MB is the most.` : "";
    input.setCustomValidity(large);
    if (large) input.reportValidity();
  };
  input.addEventListener("change", weigh);
  box.addEventListener("dragover", (event) => {
    event.preventDefault();
    box.classList.add("over");
  });
  box.addEventListener("dragleave", () => box.classList.remove("over"));
  box.addEventListener("drop", (event) => {
    event.preventDefault();
    box.classList.remove("over");
    input.files = event.dataTransfer.files;
    weigh();
  });
}

// Trying recipes: sliders beside the numbers; a move asks for the numbers, then for the curves.
function tryable(form) {
  const fields = () => new URLSearchParams(new FormData(form));
  let turn = 0;
  let busy = false;
  const fetchPart = async (part, query) => {
    const wanted = new URLSearchParams(query);
    wanted.set("part", part);
    const answer = await fetch(`/try?${wanted}`);
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById(part);
    // Without the part the experiment was changed meanwhile: open the room anew.
    if (!fresh) return location.assign(`/try?${query}`);
    document.getElementById(part).replaceWith(fresh);
    enliven(fresh);
    // Of a recipe that cannot be made nobody knows which knobs it has.
    if ("inactive" in fresh.dataset) hide(fresh.dataset.inactive);
  };
  const hide = (names) => {
    const gone = (names || "").split(" ");
    for (const input of form.querySelectorAll("input[type=text], select")) {
      input.closest(".field").classList.toggle("gone", gone.includes(input.name));
    }
  };
  // One question at a time: what is moved meanwhile is asked next.
  const moved = async () => {
    turn += 1;
    if (busy) return;
    busy = true;
    try {
      for (let asked = 0; asked !== turn; ) {
        asked = turn;
        const query = fields();
        await fetchPart("numbers", query);
        if (asked === turn) await fetchPart("curves", query);
        history.replaceState(null, "", `/try?${query}`);
      }
    } finally {
      busy = false;
    }
  };
  for (const [name, span] of Object.entries(JSON.parse(form.dataset.try))) {
    const input = form.elements.namedItem(name);
    if (!input) continue;
    const slider = document.createElement("input");
    slider.type = "range";
    slider.min = span.low;
    slider.max = span.high;
    slider.step = span.step;
    const value = () => Number(input.value.replace(",", "."));
    slider.value = value();
    const label = form.querySelector(`label[for="${input.id}"]`);
    slider.setAttribute("aria-label", label.firstChild.textContent.trim());
    const unit = label.querySelector(".unit")?.textContent.slice(1, -1) || "";
    const speak = () => slider.setAttribute("aria-valuetext", `${input.value} ${unit}`.trim());
    const places = (String(span.step).split(".")[1] || "").length;
    slider.addEventListener("input", () => (input.value = String(Number(Number(slider.value).toFixed(places)))));
    slider.addEventListener("input", speak);
    input.addEventListener("input", () => (slider.value = value()));
    input.addEventListener("input", speak);
    speak();
    input.after(slider);
  }
  form.addEventListener("input", moved);
  hide(document.getElementById("numbers").dataset.inactive);
}

// What a part needs when it appears, at first or later; rooms add to it here.
function enliven(root) {
  for (const form of root.querySelectorAll("form[data-try]")) tryable(form);
  for (const again of root.querySelectorAll(".again")) again.hidden = true;
  for (const figure of root.querySelectorAll("figure[data-points]")) readable(figure);
  for (const box of root.querySelectorAll("[data-drop]")) droppable(box);
}

// Escape closes what was opened over the page: values that were read off, and what is folded out
// around the keyboard, unless a field has its own use for the key.
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  const told = [...document.querySelectorAll(".read")].filter((each) => each.textContent);
  for (const read of told) read.textContent = "";
  for (const spot of document.querySelectorAll(".spot")) spot.remove();
  const open = document.activeElement.closest("details[open]");
  if (told.length || !open || document.activeElement.matches("input, select, textarea")) return;
  open.open = false;
  open.querySelector("summary").focus();
});

// A form that was sent is not sent twice by a second click.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  if (form.dataset.sent) event.preventDefault();
  form.dataset.sent = "yes";
});
// Back from the next page, the form may be sent again.
addEventListener("pageshow", () => {
  for (const form of document.forms) delete form.dataset.sent;
});

enliven(document);
for (const part of document.querySelectorAll("[data-part]")) follow(part);
// The first field at fault is what needs attention.
document.querySelector("[aria-invalid]")?.focus();
