// Looks at the page as it stands and writes what it finds into data-seen.
(async () => {
  await document.fonts.ready;
  await Promise.all([...document.images].map(i => i.decode().catch(() => {})));
  const seen = { Faults: [], Texts: 0, Pictures: 0, Tables: 0, Loaded: [], Width: document.documentElement.clientWidth, Wide: document.documentElement.scrollWidth };
  const fault = s => { if (seen.Faults.length < 50) seen.Faults.push(s); };
  const rgba = s => { const m = s.match(/[\d.]+/g).map(Number); return m.length > 3 ? m : [...m, 1]; };
  const light = c => {
    const f = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
    return 0.2126 * f(c[0]) + 0.7152 * f(c[1]) + 0.0722 * f(c[2]);
  };
  const behind = e => {
    for (; e; e = e.parentElement) {
      const c = rgba(getComputedStyle(e).backgroundColor);
      if (c[3] > 0) return c;
    }
    return [255, 255, 255, 1];
  };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let n = walk.nextNode(); n; n = walk.nextNode()) {
    const e = n.parentElement, words = n.data.trim();
    if (!words || e.closest("script, style, option")) continue;
    seen.Texts++;
    const style = getComputedStyle(e);
    const a = light(rgba(style.color)), b = light(behind(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) fault(`contrast ${ratio.toFixed(2)}: ${words.slice(0, 40)}`);
    if (parseFloat(style.fontSize) < 12) fault(`type of ${style.fontSize}: ${words.slice(0, 40)}`);
    if (style.overflowX === "hidden" && e.scrollWidth > e.clientWidth + 1) fault(`cut off: ${words.slice(0, 40)}`);
  }
  for (const i of document.images) {
    seen.Pictures++;
    if (!i.complete || i.naturalWidth === 0) fault(`not loaded: ${i.alt.slice(0, 40)}`);
    if (!i.alt.trim()) fault("a picture without words");
  }
  for (const e of document.querySelectorAll("body *")) {
    const scrolls = /auto|scroll/.test(getComputedStyle(e).overflowX) && e.scrollWidth > e.clientWidth + 1;
    if (scrolls && e.tabIndex < 0) fault(`out of reach for a keyboard: ${e.textContent.slice(0, 40)}`);
  }
  for (const i of document.images)
    if (i.clientWidth < 640 && i.naturalWidth > 640) fault(`a picture made too small to read, ${i.clientWidth} points: ${i.alt.slice(0, 40)}`);
  for (const c of document.querySelectorAll("th, td"))
    for (const word of c.textContent.trim().split(/\s+/)) {
      if (!/^[a-z]{2,20}$/i.test(word) || !c.firstChild || c.firstChild.nodeType !== Node.TEXT_NODE) continue;
      const from = c.firstChild.data.indexOf(word), r = document.createRange();
      if (from < 0) continue;
      r.setStart(c.firstChild, from);
      r.setEnd(c.firstChild, from + word.length);
      if (new Set([...r.getClientRects()].map(x => Math.round(x.top))).size > 1) fault(`a word broken in a cell: ${word}`);
    }
  let level = 0;
  for (const h of document.querySelectorAll("h1, h2, h3, h4, h5, h6")) {
    const l = Number(h.tagName[1]);
    if (l > level + 1) fault(`h${l} behind h${level}: ${h.textContent}`);
    level = l;
  }
  if (document.querySelectorAll("h1").length !== 1) fault("not one h1");
  if (!document.documentElement.lang) fault("no language");
  for (const t of document.querySelectorAll("table")) {
    seen.Tables++;
    if (!t.querySelector("thead th[scope=col]")) fault("a table without headers");
    if (!t.caption && !t.closest("[aria-label]")) fault("a table without a name");
  }
  for (const i of document.querySelectorAll("input, select, textarea, button"))
    if (!(i.labels && i.labels.length && i.labels[0].textContent.trim()) && !i.getAttribute("aria-label")) fault("a control without a name");
  for (const a of document.querySelectorAll("a")) {
    if (!a.textContent.trim()) fault("a link without words");
    const h = a.getAttribute("href");
    if (h.startsWith("#") && !document.getElementById(h.slice(1))) fault(`a link to nowhere: ${h}`);
  }
  const ids = [...document.querySelectorAll("[id]")].map(e => e.id);
  if (new Set(ids).size !== ids.length) fault("an id that stands twice");
  seen.Loaded = performance.getEntriesByType("resource").map(r => r.name).filter(n => !n.startsWith("data:"));
  document.documentElement.setAttribute("data-seen", JSON.stringify(seen));
})();
