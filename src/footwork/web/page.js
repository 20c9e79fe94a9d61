// What every page brings along: pictures to save, rows of a table shown in the panes above it.
document.documentElement.lang = "en";
window.footwork = {
  // A picture as a file: its colours are worked out, for they are the page's.
  save(id, kind, name) {
    const box = document.getElementById(id), old = box && (box.tagName === "svg" ? box : box.querySelector("svg"));
    if (!old) return;
    const style = getComputedStyle(document.documentElement), made = old.cloneNode(true), size = old.getBoundingClientRect();
    const kept = ["fill", "stroke", "stroke-width", "font-size", "font-weight", "text-anchor", "opacity", "stroke-linecap", "stroke-linejoin", "display"];
    const pairs = [[old, made]];
    while (pairs.length) {
      const [a, b] = pairs.pop(), shown = getComputedStyle(a);
      for (const key of kept) b.style.setProperty(key, shown.getPropertyValue(key));
      for (let i = 0; i < a.children.length; i++) pairs.push([a.children[i], b.children[i]]);
    }
    made.setAttribute("xmlns", "http://www.w3.org/2000/svg");
    made.setAttribute("width", size.width);
    made.setAttribute("height", size.height);
    made.style.background = style.getPropertyValue("--paper");
    made.style.fontFamily = getComputedStyle(document.body).fontFamily;
    const text = new XMLSerializer().serializeToString(made).replace(/var\(--([a-z]+)\)/g, (_, key) => style.getPropertyValue("--" + key).trim());
    const whole = new Blob([text], { type: "image/svg+xml" });
    const give = (blob) => {
      const link = document.createElement("a");
      link.href = URL.createObjectURL(blob);
      link.download = name + "." + kind;
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    };
    if (kind === "svg") return give(whole);
    if (kind === "pdf") return fetch("/picture.pdf", { method: "POST", body: text }).then((made) => made.ok ? made.blob().then(give) : alert("The PDF could not be made: save the picture as SVG instead."));
    const image = new Image();
    image.onload = () => {
      const canvas = document.createElement("canvas");
      canvas.width = 2 * size.width;
      canvas.height = 2 * size.height;
      const pen = canvas.getContext("2d");
      pen.scale(2, 2);
      pen.fillStyle = style.getPropertyValue("--paper");
      pen.fillRect(0, 0, size.width, size.height);
      pen.drawImage(image, 0, 0, size.width, size.height);
      canvas.toBlob(give);
    };
    image.src = URL.createObjectURL(whole);
  },
  // Of the methods, those that hold all words of a search.
  find(words) {
    const plain = (t) => t.toLowerCase().replace(/[′’']/g, "'"), wanted = plain(words).split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const section of document.querySelectorAll(".method")) {
      const there = wanted.every((word) => plain(section.textContent).includes(word));
      section.hidden = !there;
      document.querySelector(`.contents [data-of="${section.dataset.key}"]`).hidden = !there;
      shown += there;
    }
    document.querySelector(".nothing").hidden = shown > 0;
  },
  // A page that came late goes to the part that its address names.
  arrive() {
    const part = location.hash && document.getElementById(location.hash.slice(1));
    if (part) part.scrollIntoView();
  },
  // The stretch of a row, laid over the panes while the pointer or the focus is on it.
  point(row, on) {
    const chart = document.querySelector(".chart[data-plot]");
    if (!chart) return;
    let mark = chart.querySelector(".pointed");
    if (!mark) {
      mark = document.createElement("div");
      mark.className = "pointed";
      chart.appendChild(mark);
    }
    const [left, right, low, high] = chart.dataset.plot.split(" ").map(Number), [a, b] = row.dataset.span.split(" ").map(Number);
    const wide = chart.clientWidth - left - right, at = (v) => left + (wide * (v - low)) / (high - low);
    mark.style.display = on ? "block" : "none";
    mark.style.left = at(a) + "px";
    mark.style.width = Math.max(at(b) - at(a), 2) + "px";
  },
};
new MutationObserver(() => {
  // On a phone the menu, a line that is wider than the screen, stands where its page is.
  const head = document.querySelector(".fw-head:not([data-there])"), here = head?.querySelector("a.on");
  if (here) {
    head.dataset.there = "yes";
    if (here.offsetLeft + here.offsetWidth > head.clientWidth - 44) head.scrollLeft = here.offsetLeft - 0.4 * head.clientWidth;
  }
  // The framework's upload box: its way in is the file field itself, with a word, not a button around it.
  for (const field of document.querySelectorAll(".q-uploader__input:not([aria-label])")) {
    const around = field.closest(".q-btn");
    field.setAttribute("aria-label", "Choose files");
    field.tabIndex = 0;
    for (const name of ["role", "tabindex"]) around?.removeAttribute(name);
  }
}).observe(document.documentElement, { childList: true, subtree: true });
// What is typed before a page and its server have met is sent on afterwards, each field for itself: a button that is
// pressed by then waits until all of it is there.
window.footwork.pressed = new WeakSet();
document.addEventListener("click", (e) => {
  const button = e.target.closest?.("button");
  if (!button || window.did_handshake !== false) return;
  e.stopImmediatePropagation();
  e.preventDefault();
  if (window.footwork.pressed.has(button)) return;  // pressed again, it acts once
  window.footwork.pressed.add(button);
  const again = setInterval(() => {
    if (!window.did_handshake) return;
    clearInterval(again);
    window.footwork.pressed.delete(button);
    setTimeout(() => button.click(), 50);
  }, 20);
}, true);
for (const [event, on] of [["mouseover", true], ["mouseout", false], ["focusin", true], ["focusout", false]])
  document.addEventListener(event, (e) => {
    const row = e.target.closest && e.target.closest("tr[data-span]");
    if (row) window.footwork.point(row, on);
  });
