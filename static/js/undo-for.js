// <undo-for data-seconds>: an undo that goes away when it would come too late. The server
// decides; this only offers no more than it grants. `data-now`: the time runs already.
class UndoFor extends HTMLElement {
  connectedCallback() {
    if ("now" in this.dataset) this.begin();
  }

  begin() {
    setTimeout(() => this.remove(), Number(this.dataset.seconds) * 1000);
  }
}

customElements.define("undo-for", UndoFor);
