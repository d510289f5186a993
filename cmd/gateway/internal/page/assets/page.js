// With scripting off the page reads and acts the same; this keeps it live and
// lets one ask a chart for the value at a time.
"use strict";
(() => {
  const old = document.getElementById("old");

  // Fresh figures: the page asks for itself and swaps the parts that changed,
  // unless a finger or the keyboard is inside one.
  let busy = false, again = false;
  async function refresh() {
    if (busy) { again = true; return; }
    busy = true;
    try {
      const answer = await fetch(location.href, { headers: { "X-Live": "1" }, cache: "no-store" });
      if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const part of document.querySelectorAll("[data-live]")) {
        const next = fresh.getElementById(part.id);
        if (!next || next.outerHTML === part.outerHTML) continue;
        const focus = part.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
        const taken = document.importNode(next, true);
        part.replaceWith(taken);
        if (focus) for (const a of taken.querySelectorAll("a")) if (a.getAttribute("href") === focus) a.focus();
      }
      old.hidden = true;
    } catch { old.hidden = false; }
    busy = false;
    if (again) { again = false; refresh(); }
  }
  if (document.querySelector("[data-live]")) {
    const news = new EventSource("/live");
    let lost = false;
    news.addEventListener("round", refresh);
    news.addEventListener("error", () => { lost = true; old.hidden = false; });
    news.addEventListener("open", () => { if (lost) { lost = false; refresh(); } });
    addEventListener("pagehide", () => news.close());
    addEventListener("pageshow", (e) => { if (e.persisted) location.reload(); });
  }

  // The value at a time, by tap, mouse or keyboard. The figures are the table's.
  const chart = document.getElementById("chart"), slider = document.getElementById("at");
  if (chart && slider) {
    const rows = [...document.querySelectorAll(".past-table tbody tr")];
    const heads = [...document.querySelectorAll(".past-table thead th")].map((h) => h.textContent.trim());
    const image = chart.querySelector("img"), needle = chart.querySelector(".needle");
    const output = chart.querySelector("output");
    chart.querySelector(".at").hidden = false;
    // The plot's left and right edges within the image, as drawn.
    const edges = () => {
      const wide = image.currentSrc.includes("size=hand") ? 350 : 760;
      const k = image.clientWidth / wide;
      return [44 * k, image.clientWidth - 12 * k];
    };
    const show = () => {
      const row = rows[slider.value];
      if (!row) return;
      const cells = [...row.children].map((c) => c.textContent.trim().replace(/\s+/g, " "));
      output.textContent = cells[0] + ": " + cells.slice(1).map((c, i) => heads[i + 1].toLowerCase() + " " + c).join(", ");
      slider.setAttribute("aria-valuetext", output.textContent);
      const [left, right] = edges();
      needle.style.setProperty("left", (left + row.dataset.at * (right - left)) + "px");
      needle.style.setProperty("height", image.clientHeight + "px");
    };
    const point = () => { needle.hidden = false; show(); };
    slider.addEventListener("input", point);
    show();
    image.addEventListener("click", (e) => {
      const [left, right] = edges();
      const at = (e.clientX - image.getBoundingClientRect().left - left) / (right - left);
      let best = 0;
      rows.forEach((r, i) => { if (Math.abs(r.dataset.at - at) < Math.abs(rows[best].dataset.at - at)) best = i; });
      slider.value = best;
      point();
    });
  }
})();
