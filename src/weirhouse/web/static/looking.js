// How far a long reckoning is: asked every second, and the page comes when it is done.

export function looking(bar) {
  const words = document.getElementById("looking-what");

  async function ask() {
    try {
      const answer = await fetch(bar.dataset.progress, { headers: { Accept: "application/json" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const found = await answer.json();
      bar.value = found.share;
      words.textContent = found.what;
      if (found.done) {
        location.replace(bar.dataset.then);
        return;
      }
    } catch {
      words.textContent = "The plant's computer does not answer. Is it on?";
    }
    setTimeout(ask, 1000);
  }

  ask();
}
