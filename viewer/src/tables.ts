// Tables as Python words them (headfit/output/tables.py), and their link with the head.
import type { Viewer } from "./viewer";

export interface TableData {
  readonly name: string;
  readonly caption: string;
  readonly columns: readonly { readonly title: string; readonly unit: string; readonly number: boolean }[];
  readonly rows: readonly { readonly cells: readonly string[]; readonly site: string; readonly heading: boolean; readonly state: string }[];
}

/** Fill a table element; the text of a cell stays text. */
export function fill(table: HTMLTableElement, data: TableData): void {
  const form = JSON.stringify([data.caption, data.columns, data.rows.map((row) => [row.site, row.heading, row.state])]);
  if (table.dataset["form"] === form) refill(table, data);
  else build(table, data);
  table.dataset["form"] = form;
}

/** The same rows with other numbers: only cells that differ are touched, since a slider asks for this many times a second. */
function refill(table: HTMLTableElement, data: TableData): void {
  const lines = table.tBodies[0]!.rows;
  data.rows.forEach((row, r) => {
    row.cells.forEach((text, c) => {
      const cell = lines[r]!.cells[c]!;
      if (cell.textContent !== text) (cell.querySelector("button") ?? cell).textContent = text;
    });
  });
}

function build(table: HTMLTableElement, data: TableData): void {
  const caption = document.createElement("caption");
  caption.textContent = data.caption;
  const head = document.createElement("thead").appendChild(document.createElement("tr"));
  for (const column of data.columns) {
    const cell = document.createElement("th");
    cell.scope = "col";
    cell.textContent = column.title;
    if (column.number) cell.className = "number";
    if (column.unit) {
      const unit = document.createElement("span");
      unit.className = "unit";
      unit.textContent = column.unit;
      cell.append(" ", unit);
    }
    head.append(cell);
  }
  const body = document.createElement("tbody");
  for (const row of data.rows) {
    const line = document.createElement("tr");
    if (row.site) line.dataset["site"] = row.site;
    line.className = row.state;
    if (row.heading) {
      const wide = document.createElement("th");
      wide.scope = "rowgroup";
      wide.colSpan = data.columns.length;
      wide.textContent = row.cells[0] ?? "";
      line.className = `heading ${row.state}`.trim();
      line.append(wide);
      body.append(line);
      continue;
    }
    row.cells.forEach((text, i) => {
      const cell = document.createElement(i ? "td" : "th");
      if (!i) cell.scope = "row";
      cell.textContent = text;
      if (data.columns[i]!.number) cell.className = "number";
      line.append(cell);
    });
    body.append(line);
  }
  table.replaceChildren(caption, head.parentElement!, body);
}

/** Rows that choose a site and follow the chosen one. One row of each table is a tab stop; arrows go on from there. */
export class LinkedTables {
  private chosen = "";

  constructor(private readonly root: HTMLElement, private readonly choose: (site: string) => void) {
    root.addEventListener("click", (event) => {
      const site = rowOf(event.target)?.dataset["site"];
      if (site) this.choose(site);
    });
    root.addEventListener("keydown", (event) => {
      const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      const row = rowOf(event.target);
      if (!step || !row || !(event.target instanceof HTMLButtonElement)) return;
      event.preventDefault();
      const rows = [...row.closest("table")!.querySelectorAll<HTMLTableRowElement>("tr[data-site]")];
      const next = rows[rows.indexOf(row) + step];
      if (next?.dataset["site"]) {
        this.choose(next.dataset["site"]);
        next.querySelector("button")?.focus();
      }
    });
    this.refresh();
  }

  /** After tables were filled anew. */
  refresh(): void {
    for (const row of this.root.querySelectorAll<HTMLTableRowElement>("tr[data-site]")) {
      const head = row.cells[0]!;
      if (head.querySelector("button")) continue;
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = head.textContent;
      head.replaceChildren(button);
    }
    this.follow(this.chosen, false);
  }

  follow(site: string, scroll = true): void {
    this.chosen = site;
    for (const body of this.root.querySelectorAll("table")) {
      const rows = [...body.querySelectorAll<HTMLTableRowElement>("tr[data-site]")];
      const index = rows.findIndex((row) => row.dataset["site"] === site);
      rows.forEach((row, i) => {
        row.classList.toggle("chosen", i === index);
        const button = row.querySelector("button");
        button?.setAttribute("aria-pressed", String(i === index));
        if (button) button.tabIndex = i === Math.max(index, 0) ? 0 : -1;
      });
      if (scroll && index >= 0) rows[index]!.scrollIntoView({ block: "nearest" });
    }
  }
}

function rowOf(target: EventTarget | null): HTMLTableRowElement | null {
  return target instanceof Element ? target.closest<HTMLTableRowElement>("tr[data-site]") : null;
}

/** Join a viewer and tables: what is chosen in one is chosen in the other. */
export function link(root: HTMLElement, viewer: () => Viewer | null): { tables: LinkedTables; choose(site: string | null, turn?: boolean): void } {
  const choose = (site: string | null, turn = false): void => {
    viewer()?.select(site ?? "", turn);
    tables.follow(site ?? "");
  };
  const tables: LinkedTables = new LinkedTables(root, (site) => choose(site, true));
  return { tables, choose };
}
