// What a page's scripts find in its own templates: the checker cannot know which element a
// selector finds, so it does not ask. Everything else of a script is checked.
interface ParentNode {
  querySelector(selectors: string): any;
  querySelectorAll(selectors: string): NodeListOf<any>;
}
interface Element {
  closest(selectors: string): any;
}
interface Document {
  getElementById(id: string): any;
}
interface Event {
  readonly target: any;
  readonly currentTarget: any;
  readonly detail: any;
}
