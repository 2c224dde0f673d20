// <share-link data-of="id"> holds a button that hands the address in the field `id` to whatever the
// phone sends with. Hidden where it cannot: the address is there to be copied.
class ShareLink extends HTMLElement {
  connectedCallback() {
    const field = /** @type {HTMLInputElement | null} */ (document.getElementById(this.dataset.of));
    if (!field || !navigator.share) return;
    this.hidden = false;
    this.querySelector("button").addEventListener("click", () => navigator.share({ url: field.value }).catch(() => {}));
  }
}

customElements.define("share-link", ShareLink);
