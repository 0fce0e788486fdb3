(() => {
  const faults = [];
  const fault = (what, text) => { if (faults.length < 40) faults.push(`${what}: ${text.slice(0, 60)}`); };
  const wide = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > wide) fault(`page ${document.documentElement.scrollWidth} wide in a window of ${wide}`, "");

  const colour = text => {
    const found = text.match(/rgba?\(([^)]*)\)/);
    if (!found) return null;
    const [r, g, b, a = 1] = found[1].split(/[,\s/]+/).filter(Boolean).map(Number);
    return { r, g, b, a };
  };
  const over = (front, back) => ({
    r: front.r * front.a + back.r * (1 - front.a),
    g: front.g * front.a + back.g * (1 - front.a),
    b: front.b * front.a + back.b * (1 - front.a),
    a: 1,
  });
  // The canvas of a page without colours of its own follows the scheme; ours always has one.
  const behind = element => {
    for (let e = element; e; e = e.parentElement) {
      const found = colour(getComputedStyle(e).backgroundColor);
      if (found && found.a > 0) return found.a < 1 ? over(found, behind(e.parentElement)) : found;
    }
    return { r: 255, g: 255, b: 255, a: 1 };
  };
  // WCAG 2.2, relative luminance and contrast ratio.
  const luminance = c => {
    const part = value => { const v = value / 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * part(c.r) + 0.7152 * part(c.g) + 0.0722 * part(c.b);
  };
  const ratio = (a, b) => { const [x, y] = [luminance(a), luminance(b)]; return (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05); };

  let texts = 0, smallest = 1e9, contrast = 1e9;
  const labels = new Map();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const text = node.data.trim(), element = node.parentElement;
    if (!text || ["SCRIPT", "STYLE", "title", "desc"].includes(element.tagName)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const boxes = [...range.getClientRects()].filter(box => box.width > 0 && box.height > 0);
    if (boxes.length === 0) continue;
    texts += 1;
    const style = getComputedStyle(element);
    const svg = element.closest("svg");
    for (const box of boxes) {
      if (box.left < -0.5 || box.right > wide + 0.5) fault("beyond the page", text);
      for (let e = element; e && e !== document.body; e = e.parentElement) {
        if (e === svg || getComputedStyle(e).overflowX === "visible") continue;
        const limit = e.getBoundingClientRect();
        if (box.left < limit.left - 0.5 || box.right > limit.right + 0.5) fault("clipped", text);
      }
      if (svg) {
        const limit = svg.getBoundingClientRect();
        if (box.left < limit.left - 0.5 || box.right > limit.right + 0.5 || box.top < limit.top - 0.5 || box.bottom > limit.bottom + 0.5)
          fault("beyond its plot", text);
        for (const other of labels.get(svg) ?? []) {
          const x = Math.min(box.right, other.box.right) - Math.max(box.left, other.box.left);
          const y = Math.min(box.bottom, other.box.bottom) - Math.max(box.top, other.box.top);
          if (x > 1 && y > 3 && other.node !== node) fault(`labels overlap: ${other.text} and`, text);
        }
        labels.set(svg, [...(labels.get(svg) ?? []), { node, text, box }]);
      }
    }
    const scale = svg ? Math.hypot(element.getScreenCTM().a, element.getScreenCTM().b) : 1;
    const size = parseFloat(style.fontSize) * scale;
    smallest = Math.min(smallest, size);
    if (size < 9) fault(`small, ${size.toFixed(1)} px`, text);
    const back = behind(svg ? svg.parentElement : element);
    const front = colour(svg ? style.fill : style.color);
    if (!front) { fault("colour not understood", text); continue; }
    front.a *= parseFloat(style.opacity) * (svg ? parseFloat(style.fillOpacity) : 1);
    const found = ratio(over(front, back), back);
    const large = size >= 24 || (size >= 18.66 && parseInt(style.fontWeight, 10) >= 700);
    contrast = Math.min(contrast, found);
    if (found < (large ? 3 : 4.5)) fault(`contrast ${found.toFixed(2)}`, text);
  }
  // Lines and marks of plots (WCAG 2.2, 1.4.11); the grid is decoration and says so by its colour.
  const grid = getComputedStyle(document.documentElement).getPropertyValue("--faint").trim();
  const probe = document.createElement("span");
  probe.style.color = grid;
  document.body.append(probe);
  const faint = grid ? getComputedStyle(probe).color : "none";
  probe.remove();
  for (const mark of document.querySelectorAll("svg :is(path, line, polyline, polygon, circle, rect)")) {
    const style = getComputedStyle(mark), back = behind(mark.closest("svg").parentElement);
    const place = mark.classList.contains("place");
    for (const [name, opacity] of [["stroke", "strokeOpacity"], ["fill", "fillOpacity"]]) {
      if (style[name] === "none" || style[name] === faint || style.display === "none" || (place && name === "fill")) continue;
      if (name === "fill" && mark.tagName === "line") continue;
      const front = colour(style[name]);
      if (!front) continue;
      front.a *= parseFloat(style[opacity]) * parseFloat(style.opacity);
      if (front.a === 0) continue;
      const found = ratio(over(front, back), back);
      if (found < 3) fault(`line of contrast ${found.toFixed(2)}`, `${mark.tagName} ${name} ${style[name]}`);
    }
  }
  return { faults, texts, smallest, contrast };
})()
