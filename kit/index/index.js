(() => {
  "use strict";
  const table = document.querySelector("table.sessions");
  if (!table) return;
  const body = table.tBodies[0];
  const said = document.querySelector(".count");
  const nothing = document.querySelector(".nothing");
  const search = document.getElementById("search");
  const device = document.getElementById("device");
  const show = document.getElementById("show");
  const order = document.getElementById("order");

  // letters without their accents, so that "ete" finds "été"
  const plain = (text) =>
    text.normalize("NFD").replace(/\p{M}/gu, "").toLocaleLowerCase("en-GB").replace(/\s+/g, " ");
  const names = new Intl.Collator("en-GB", { numeric: true, sensitivity: "base" });
  const text = (cell) => cell.textContent.trim();
  const value = (cell) => (cell.dataset.sort === undefined ? null : Number(cell.dataset.sort));

  // column → how a row is keyed (null: not known, always last) and which way comes first
  const COLUMNS = {
    date: { cell: 0, key: (cell) => cell.querySelector("time")?.textContent ?? null,
      first: "desc", asc: "oldest first", desc: "newest first", name: "date" },
    title: { cell: 1, key: (cell) => text(cell.firstElementChild),
      first: "asc", asc: "A to Z", desc: "Z to A", name: "title" },
    runtime: { cell: 3, key: value,
      first: "desc", asc: "shortest first", desc: "longest first", name: "longest runtime" },
    cautions: { cell: 5, key: value,
      first: "desc", asc: "fewest first", desc: "most first", name: "cautions" },
    revision: { cell: 6, key: value,
      first: "desc", asc: "lowest first", desc: "highest first", name: "revision" },
  };
  const SHOWN = {
    "": () => true,
    supported: (row) => row.dataset.lead === "supported",
    tied: (row) => row.dataset.lead === "tied",
    cautions: (row) => value(row.cells[COLUMNS.cautions.cell]) > 0,
    changed: (row) => "changed" in row.dataset,
    remark: (row) => "remark" in row.dataset,
    missing: (row) => row.dataset.state !== "report",
  };

  const rows = [...body.rows].map((row) => ({
    row,
    text: plain([...row.cells].slice(0, -1).map(text).join(" ")), // all but the links
    devices: [...row.cells[2].querySelectorAll("li")].map(text),
    keys: {},
  }));
  const keysOf = (column) => {
    const { cell, key } = COLUMNS[column];
    for (const one of rows) one.keys[column] ??= key(one.row.cells[cell]);
  };

  const START = { q: "", device: "", show: "", sort: "date", order: "desc" };
  const state = { ...START };

  const count = (n) => n.toLocaleString("en-GB");
  const tell = (shown) => {
    const { name, asc, desc } = COLUMNS[state.sort];
    const many = rows.length === 1 ? "session" : "sessions";
    const part = shown === rows.length ? count(shown) : `${count(shown)} of ${count(rows.length)}`;
    said.textContent = `${part} ${many}, by ${name}, ${state.order === "asc" ? asc : desc}`;
    nothing.hidden = shown > 0;
    table.hidden = shown === 0;
  };

  const filter = () => {
    const words = plain(state.q).split(" ").filter(Boolean);
    const allowed = SHOWN[state.show];
    let shown = 0;
    for (const one of rows) {
      const match = words.every((word) => one.text.includes(word))
        && (!state.device || one.devices.includes(state.device)) && allowed(one.row);
      if (match) shown += 1;
      if (one.row.hidden === match) one.row.hidden = !match;
    }
    tell(shown);
  };

  let sorted = "date desc"; // as the page was made
  const sort = () => {
    const wanted = `${state.sort} ${state.order}`;
    if (wanted === sorted) return;
    sorted = wanted;
    const column = state.sort;
    const sign = state.order === "asc" ? 1 : -1;
    keysOf(column);
    const compare = column === "title" ? names.compare : (a, b) => (a < b ? -1 : a > b ? 1 : 0);
    const keyed = rows.map((one, place) => [one.keys[column], place, one.row]);
    keyed.sort(([a, i], [b, j]) =>
      a === null ? (b === null ? i - j : 1) : b === null ? -1 : sign * compare(a, b) || i - j);
    body.remove(); // rows are moved much faster in a body that is not in the page
    for (const [, , row] of keyed) body.append(row);
    table.append(body);
  };

  const heads = {};
  const mark = () => {
    for (const [column, head] of Object.entries(heads)) {
      if (column === state.sort) {
        head.setAttribute("aria-sort", state.order === "asc" ? "ascending" : "descending");
      } else head.removeAttribute("aria-sort");
    }
    search.value = state.q;
    device.value = state.device;
    show.value = state.show;
    order.value = `${state.sort} ${state.order}`;
  };

  // the state stands in the address behind "#": it can be kept, sent and gone back to
  const read = () => {
    const given = new URLSearchParams(location.hash.slice(1));
    for (const [key, start] of Object.entries(START)) state[key] = given.get(key) ?? start;
    if (!Object.hasOwn(COLUMNS, state.sort)) state.sort = START.sort;
    if (!["asc", "desc"].includes(given.get("order"))) state.order = COLUMNS[state.sort].first;
    if (!Object.hasOwn(SHOWN, state.show)) state.show = START.show;
    if (![...device.options].some((one) => one.value === state.device)) state.device = "";
  };
  let waiting = 0;
  const write = () => {
    const given = new URLSearchParams();
    for (const [key, start] of Object.entries(START)) {
      const usual = key === "order" ? COLUMNS[state.sort].first : start;
      if (state[key] !== usual) given.set(key, state[key]);
    }
    const fragment = given.toString();
    if (fragment === location.hash.slice(1)) return;
    history.replaceState(null, "", location.href.split("#")[0] + (fragment ? `#${fragment}` : ""));
  };
  const update = () => {
    sort();
    filter();
    mark();
    clearTimeout(waiting); // browsers refuse an address that changes with every key
    waiting = setTimeout(write, 200);
  };
  const by = (column, direction) => {
    state.sort = column;
    state.order = direction;
    update();
  };

  for (const [column, { cell, first }] of Object.entries(COLUMNS)) {
    const head = table.tHead.rows[0].cells[cell];
    const made = document.createElement("button");
    made.type = "button";
    made.append(...head.childNodes);
    made.addEventListener("click", () =>
      by(column, state.sort !== column ? first : state.order === "asc" ? "desc" : "asc"));
    head.append(made);
    heads[column] = head;
  }
  const option = (select, name, label) => {
    const made = document.createElement("option");
    made.value = name;
    made.textContent = label;
    select.append(made);
  };
  for (const [column, { name, first, asc, desc }] of Object.entries(COLUMNS)) {
    for (const way of first === "asc" ? ["asc", "desc"] : ["desc", "asc"]) {
      const label = `${name}, ${way === "asc" ? asc : desc}`;
      option(order, `${column} ${way}`, label[0].toUpperCase() + label.slice(1));
    }
  }
  const times = new Map();
  for (const one of rows) {
    for (const name of new Set(one.devices)) times.set(name, (times.get(name) ?? 0) + 1);
  }
  for (const name of [...times.keys()].sort(names.compare)) {
    option(device, name, `${name} (${count(times.get(name))})`);
  }

  search.addEventListener("input", () => { state.q = search.value; update(); });
  device.addEventListener("change", () => { state.device = device.value; update(); });
  show.addEventListener("change", () => { state.show = show.value; update(); });
  order.addEventListener("change", () => by(...order.value.split(" ")));
  for (const clear of document.querySelectorAll(".clear")) {
    clear.addEventListener("click", () => {
      Object.assign(state, { q: "", device: "", show: "" });
      update();
      search.focus();
    });
  }
  // a jump inside the page must not wipe the state out of the address
  document.querySelector(".skip").addEventListener("click", (event) => {
    event.preventDefault();
    document.getElementById("sessions").focus();
  });
  addEventListener("hashchange", () => { read(); update(); });

  document.querySelector(".find").hidden = false;
  read();
  update();
})();
