// At the desk the working of a number opens beside the page. On the phone, and without this, it is a page of its own.

const WIDE = matchMedia("(min-width: 50rem)");

export function drawer(root) {
  root.addEventListener("click", async (event) => {
    const link = event.target.closest?.("a[data-working]");
    if (!link || !WIDE.matches || event.ctrlKey || event.metaKey || event.shiftKey || event.button !== 0) return;
    event.preventDefault();
    try {
      const answer = await fetch(link.href, { headers: { accept: "text/html" } });
      if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      open(page.querySelector("main"), link.href);
    } catch {
      location.assign(link.href);
    }
  });
}

function open(main, href) {
  const dialog = document.createElement("dialog");
  dialog.className = "drawer";
  const bar = document.createElement("div");
  bar.className = "drawer-bar";
  const whole = document.createElement("a");
  whole.href = href;
  whole.className = "tap";
  whole.textContent = "As a page";
  const close = document.createElement("button");
  close.type = "button";
  close.className = "plain";
  close.textContent = "Close";
  close.addEventListener("click", () => dialog.close());
  bar.append(whole, close);
  const body = document.createElement("div");
  body.append(...[...main.childNodes].map((node) => document.importNode(node, true)));
  for (const node of body.querySelectorAll("[id]")) node.removeAttribute("id");
  const title = body.querySelector("h1");
  if (title) dialog.setAttribute("aria-label", title.textContent.trim());
  dialog.append(bar, body);
  dialog.addEventListener("close", () => dialog.remove());
  dialog.addEventListener("click", (event) => { if (event.target === dialog) dialog.close(); });
  document.body.append(dialog);
  dialog.showModal();
  close.focus();
}
