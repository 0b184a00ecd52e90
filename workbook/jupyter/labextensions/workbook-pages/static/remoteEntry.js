// Notebooks whose metadata say {"workbook": {"page": true}} open in JupyterLab as pages: all cells
// run unless the kernel has run them already, code folded, one bar from notebook to notebook.
// Written as JupyterLab loads it, so that no build tool is needed.
(() => {
  const CSS = `
    .workbook-page.workbook-folded .jp-CodeCell .jp-Cell-inputWrapper,
    .workbook-page.workbook-folded .jp-OutputPrompt, .workbook-page.workbook-folded .jp-OutputArea-promptOverlay, .workbook-page.workbook-folded .jp-InputPrompt,
    .workbook-page.workbook-folded .jp-cell-toolbar, .workbook-page.workbook-folded .jp-NotebookPanel-toolbar > .jp-Toolbar-item { display: none; }
    .workbook-bar { display: flex; align-items: center; font: 15px system-ui, sans-serif; }
    .workbook-bar button { min-height: 24px; padding: 0 10px; border: 0; background: none; color: inherit; font: inherit; cursor: pointer; }
    .workbook-bar button[aria-current], .workbook-bar button[aria-pressed=true] { font-weight: 700; box-shadow: inset 0 -3px currentColor; }
    .workbook-gone { padding: 14px 20px; color: #fff; background: #000; font: 700 18px/1.4 system-ui, sans-serif; position: relative; z-index: 9; }`;

  const button = (words, press) => {
    const made = document.createElement("button");
    made.textContent = words;
    made.addEventListener("click", () => press(made));
    return made;
  };

  const bar = async (app, panel) => {
    const nav = document.createElement("nav");
    nav.className = "workbook-bar";
    nav.setAttribute("aria-label", "Pages");
    const folder = await app.serviceManager.contents.get("");
    for (const { name, path } of folder.content.filter((one) => one.type === "notebook").sort((a, b) => a.name.localeCompare(b.name))) {
      const book = await app.serviceManager.contents.get(path);
      if (!book.content.metadata.workbook?.page) continue;
      const open = button(book.content.metadata.title ?? name, () => app.commands.execute("docmanager:open", { path }));
      if (path === panel.context.path) open.setAttribute("aria-current", "page");
      nav.append(open);
    }
    nav.append(button("Code", (made) => {
      const folded = panel.node.classList.toggle("workbook-folded");
      made.setAttribute("aria-pressed", String(!folded));
    }));
    panel.toolbar.node.prepend(nav);
  };

  const ran = async (kernel) => {
    const asked = kernel.requestExecute({ code: "", silent: true, store_history: false, user_expressions: { n: "get_ipython().execution_count" } });
    return Number((await asked.done).content.user_expressions.n.data["text/plain"]) > 1;
  };

  const script = (base) => new Promise((loaded) => {
    if (window.workbookWatch) { loaded(); return; }
    const made = document.createElement("script");
    made.src = `${base}lab/extensions/workbook-pages/static/watch.js`;
    made.addEventListener("load", loaded);
    document.head.append(made);
  });

  const open = async (app, panel) => {
    const { context } = panel;
    await Promise.all([context.ready, context.sessionContext.ready]);
    if (!context.model.getMetadata("workbook")?.page) return;
    panel.addClass("workbook-page");
    panel.addClass("workbook-folded");
    await app.restored;
    await panel.revealed;
    const { kernel } = context.sessionContext.session;
    await kernel.info;
    if (!(await ran(kernel))) {
      await app.commands.execute("notebook:run-all-cells", { semanticWidgetId: panel.id });
      await context.save(); // outputs with it, so that loading the page again finds them
    }
    await bar(app, panel);
    const { baseUrl } = app.serviceManager.serverSettings;
    await script(baseUrl);
    if (!document.querySelector(".workbook-gone")) workbookWatch(`${baseUrl}api/kernels/${kernel.id}`);
  };

  const plugin = {
    id: "workbook-pages:plugin",
    autoStart: true,
    activate: (app) => {
      const style = document.createElement("style");
      style.textContent = CSS;
      document.head.append(style);
      app.docRegistry.addWidgetExtension("Notebook", {
        createNew: (panel) => {
          open(app, panel).catch((error) => console.error("workbook-pages", error));
          return { isDisposed: false, dispose() {} };
        },
      });
    },
  };
  window._JUPYTERLAB = window._JUPYTERLAB ?? {};
  window._JUPYTERLAB["workbook-pages"] = { init() {}, get: async () => () => ({ __esModule: true, default: plugin }) };
})();
