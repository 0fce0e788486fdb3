(paper => {
  const faults = [];
  const fault = (what, element) => faults.push(`${what}: ${element.tagName} ${element.className} ${element.textContent.slice(0, 40)}`);
  const whole = document.querySelectorAll("figure, tr, li, dl > div, .next, .whole, .cautions");
  for (const element of whole) {
    if (getComputedStyle(element).breakInside !== "avoid") fault("may be torn", element);
    if (element.getBoundingClientRect().height > paper) fault("higher than a page", element);
  }
  if (document.querySelectorAll("figure, tr").length < 2) faults.push("nothing to tear");
  for (const heading of document.querySelectorAll("h2, h3"))
    if (getComputedStyle(heading).breakAfter !== "avoid") fault("may be left behind", heading);
  for (const head of document.querySelectorAll("thead"))
    if (getComputedStyle(head).display !== "table-header-group") fault("not repeated", head);
  for (const plot of document.querySelectorAll("svg.plot"))
    if (plot.getBoundingClientRect().height < 60) fault("no plot to see", plot);
  for (const tool of document.querySelectorAll(".readout, .zoom, .screen"))
    if (getComputedStyle(tool).display !== "none") fault("for the screen alone", tool);
  return faults;
})
