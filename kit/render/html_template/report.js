(() => {
  "use strict";
  const heard = document.querySelector(".heard");
  const button = (text, act) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    made.addEventListener("click", () => act(made));
    return made;
  };
  const words = (cell) => cell.textContent.replace(/\s+/g, " ").trim();
  const NUMBER = /^[−-]?\d+(?:[\u2009\u202f]\d{3})*(?:\.\d+)?$/;

  // A lone number gets a plain minus, so that a spreadsheet counts with it; a text that it would
  // take for a formula gets its mark for text, an apostrophe, in front.
  const field = (cell) => {
    const text = words(cell);
    if (NUMBER.test(text)) return text.replace("−", "-").replace(/[\u2009\u202f]/g, "");
    return /^[=+@-]/.test(text) ? `'${text}` : text;
  };
  const lines = (table) =>
    [...table.rows].map((row) => [...row.cells].map(field).join("\t")).join("\n") + "\n";

  const copyByHand = (text) => {
    const area = document.createElement("textarea");
    area.value = text;
    area.className = "heard";
    document.body.append(area);
    area.select();
    const done = document.execCommand("copy");
    area.remove();
    return done;
  };
  const copy = async (text) => {
    try {
      await navigator.clipboard.writeText(text);
      return true;
    } catch {
      return copyByHand(text);
    }
  };

  // by the first number in each cell; cells without one stay at the end
  const firstNumber = (text) => {
    const found = /[−-]?\d+(?:[\u2009\u202f]\d{3})*(?:\.\d+)?/.exec(text);
    return found ? Number(found[0].replace("−", "-").replace(/[\u2009\u202f]/g, "")) : NaN;
  };
  const sortable = (table, header) => {
    const place = header.cellIndex;
    const name = words(header);
    const act = () => {
      const sign = header.getAttribute("aria-sort") === "ascending" ? -1 : 1;
      for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
      header.setAttribute("aria-sort", sign === 1 ? "ascending" : "descending");
      const keyed = [...table.tBodies[0].rows].map((row) => [firstNumber(words(row.cells[place])), row]);
      keyed.sort(([a], [b]) => (isNaN(a) ? (isNaN(b) ? 0 : 1) : isNaN(b) ? -1 : sign * (a - b)));
      for (const [, row] of keyed) {
        row.classList.remove("again", "group");
        table.tBodies[0].append(row);
      }
      heard.textContent = `Sorted by ${name}, ${sign === 1 ? "ascending" : "descending"}`;
    };
    const made = button("", act);
    made.append(...header.childNodes);
    header.append(made);
  };

  for (const figure of document.querySelectorAll("figure.table")) {
    const table = figure.querySelector("table");
    const name = figure.querySelector("caption b").textContent.replace(/\.$/, "");
    const tools = document.createElement("div");
    tools.className = "tools";
    const copier = button("Copy table", async (made) => {
      const done = await copy(lines(table));
      made.textContent = done ? "Copied" : "Not copied";
      heard.textContent = done ? `${name} copied` : `${name} could not be copied`;
      setTimeout(() => { made.textContent = "Copy table"; }, 2000);
    });
    copier.setAttribute("aria-label", `Copy table: ${name}`);
    tools.append(copier);
    figure.append(tools);
    for (const header of table.querySelectorAll("thead th[data-sort]")) sortable(table, header);
  }

  const contents = document.querySelector(".contents details");
  const wide = matchMedia("(min-width: 68rem)");
  const fold = () => { if (contents) contents.open = wide.matches; };
  wide.addEventListener("change", fold);
  fold();

  const folded = [...document.querySelectorAll("details.code")];
  if (folded.length && contents) {
    const tools = document.createElement("div");
    tools.className = "tools";
    tools.append(button("Show all code", (made) => {
      const open = made.textContent === "Show all code";
      for (const one of folded) one.open = open;
      made.textContent = open ? "Hide all code" : "Show all code";
    }));
    contents.append(tools);
  }

  // a box that scrolls can be reached by keyboard; one that does not is no stop on the way
  const watch = new ResizeObserver((entries) => {
    for (const { target } of entries) {
      if (target.scrollWidth > target.clientWidth) {
        target.tabIndex = 0;
        target.setAttribute("role", "region");
      } else {
        target.removeAttribute("tabindex");
        target.removeAttribute("role");
      }
    }
  });
  for (const box of document.querySelectorAll(".box")) watch.observe(box);
})();
