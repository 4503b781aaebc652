"use strict";
// Makes of two pictures beside each other one under a divider, and a magnifier. All else works without it.
(() => {
  const clamp = (value, least, most) => Math.min(Math.max(value, least), most);

  // A picture that several passes share stands in the page once, in an SVG of its own size.
  function pixelsOf(photo) {
    const shared = photo.dataset.shared;
    const source = shared ? document.getElementById(shared) : photo;
    return { source, wide: Number(photo.getAttribute("width")), high: Number(photo.getAttribute("height")) };
  }

  function setUp(view) {
    const find = (name) => view.querySelector(name);
    const pair = find(".pair"), edge = find(".edge"), spot = find(".spot"), lens = find(".lens");
    const range = find(".divider input"), join = find(".join"), magnify = find(".magnify");
    const frames = [find(".before .frame"), find(".after .frame")];
    const photos = [find(".before .photo"), find(".after .photo")].map(pixelsOf);
    const place = { x: 0.5, y: 0.5 };

    function divide() {
      const joined = join.checked;
      view.classList.toggle("joined", joined);
      range.disabled = !joined;
      edge.hidden = !joined;
      frames[1].style.clipPath = joined ? `inset(0 0 0 ${range.value}%)` : "";
      edge.style.left = `calc(${range.value}% - 1.5px)`;
      range.setAttribute("aria-valuetext", `${range.value} % from the left`);
      look();
    }

    function look() {
      lens.hidden = spot.hidden = !magnify.checked;
      if (lens.hidden) return;
      const zoom = 4, box = pair.getBoundingClientRect(), frame = frames[0].getBoundingClientRect();
      photos.forEach((photo, number) => {
        const canvas = lens.querySelectorAll("canvas")[number], ink = canvas.getContext("2d");
        const wide = canvas.width / zoom, high = canvas.height / zoom;
        ink.imageSmoothingEnabled = false;
        ink.fillStyle = "#808080";
        ink.fillRect(0, 0, canvas.width, canvas.height);
        const left = place.x * photo.wide - wide / 2, top = place.y * photo.high - high / 2;
        ink.drawImage(photo.source, Math.round(left), Math.round(top), wide, high, 0, 0, canvas.width, canvas.height);
        if (number === 0) {
          const scale = frame.width / photo.wide;
          spot.style.width = `${Math.max(wide * scale, 12)}px`;
          spot.style.height = `${Math.max(high * scale, 12)}px`;
        }
      });
      spot.style.left = `${frame.left - box.left + place.x * frame.width - spot.offsetWidth / 2}px`;
      spot.style.top = `${frame.top - box.top + place.y * frame.height - spot.offsetHeight / 2}px`;
      const data = view.dataset;
      const x = Math.round(Number(data.left) + place.x * Number(data.wide));
      const y = Math.round(Number(data.top) + place.y * Number(data.high));
      const words = `x = ${x} mm, y = ${y} mm`;
      find(".where").textContent = `Magnified: ${words} on the patch`;
      spot.setAttribute("aria-valuetext", words);
      spot.setAttribute("aria-valuenow", String(Math.round(100 * place.x)));
    }

    function follow(event, drag) {
      const frame = frames.map((one) => one.getBoundingClientRect()).find((one) => event.clientX <= one.right) || frames[1].getBoundingClientRect();
      const x = (event.clientX - frame.left) / frame.width, y = (event.clientY - frame.top) / frame.height;
      if (magnify.checked) {
        place.x = clamp(x, 0, 1);
        place.y = clamp(y, 0, 1);
        look();
      } else if (drag && join.checked) {
        range.value = String(Math.round(clamp(100 * x, 0, 100)));
        divide();
      }
    }

    pair.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      pair.setPointerCapture(event.pointerId);
      follow(event, true);
    });
    pair.addEventListener("pointermove", (event) => {
      if (pair.hasPointerCapture(event.pointerId) || (magnify.checked && event.pointerType === "mouse")) follow(event, true);
    });
    pair.addEventListener("dragstart", (event) => event.preventDefault());
    spot.addEventListener("keydown", (event) => {
      const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
      const way = ways[event.key];
      if (!way) return;
      event.preventDefault();
      const step = event.shiftKey ? 0.05 : 0.01;
      place.x = clamp(place.x + step * way[0], 0, 1);
      place.y = clamp(place.y + step * way[1], 0, 1);
      look();
    });
    range.addEventListener("input", divide);
    join.addEventListener("change", divide);
    magnify.addEventListener("change", look);
    new ResizeObserver(look).observe(pair);
    find(".controls").hidden = false;
    divide();
  }

  document.querySelectorAll(".view").forEach(setUp);
})();
