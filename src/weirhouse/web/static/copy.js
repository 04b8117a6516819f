// A button that copies the working as plain text; without a clipboard the text is shown, marked, to be copied by hand.

export function copying(button) {
  const text = document.getElementById(button.dataset.copy);
  button.hidden = false;
  button.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(text.textContent);
      button.textContent = "Copied";
    } catch {
      text.hidden = false;
      getSelection().selectAllChildren(text);
      button.textContent = "Marked: copy it with your keyboard or your thumb";
    }
  });
}
