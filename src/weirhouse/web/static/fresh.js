// A page left open must not pass for now: it is asked for again after a while, and says its age when nobody answers.

const OLD = 5 * 60 * 1000;

export function fresh(notice) {
  const made = Date.now();

  async function look() {
    const age = Date.now() - made;
    if (age < OLD || document.hidden || document.querySelector("dialog[open]")) return;
    try {
      const answer = await fetch(location.href, { method: "HEAD" });
      if (!answer.ok) throw new Error(String(answer.status));
      location.reload();
    } catch {
      notice.textContent = `This page is ${Math.floor(age / 60000)} min old and could not be made anew. Is the plant's computer on?`;
      notice.hidden = false;
    }
  }

  setInterval(look, 60 * 1000);
  document.addEventListener("visibilitychange", look);
}
