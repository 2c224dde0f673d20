// <copy-text data-of="id"> holds a button that copies the value of the field `id`, and says so.
// Hidden where the browser cannot copy: the field is there to be marked by hand.
class CopyText extends HTMLElement {
  connectedCallback() {
    const field = document.getElementById(this.dataset.of);
    const button = this.querySelector("button");
    if (!field || !button || !navigator.clipboard) return;
    this.hidden = false;
    button.addEventListener("click", async () => {
      await navigator.clipboard.writeText(field.value);
      button.textContent = this.dataset.done;
    });
  }
}

customElements.define("copy-text", CopyText);
