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
    if (!fresh) return;
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
    read.textContent = `${name}${point[2]}, ${point[3]}`;
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

// What a part needs when it appears, at first or later; rooms add to it here.
function enliven(root) {
  for (const again of root.querySelectorAll(".again")) again.hidden = true;
  for (const figure of root.querySelectorAll("figure[data-points]")) readable(figure);
  for (const box of root.querySelectorAll("[data-drop]")) droppable(box);
}

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
