import { Component, type FunctionComponent, h } from 'preact';

/** A component that is drawn again only when one of its properties is another value. */
export function memo<P extends object>(draw: FunctionComponent<P>): FunctionComponent<P> {
  class Kept extends Component<P> {
    override shouldComponentUpdate(next: Readonly<P>): boolean {
      const now: Readonly<P> = this.props as Readonly<P>;
      const names = new Set([...Object.keys(now), ...Object.keys(next)]) as Set<keyof P>;
      return [...names].some((name) => now[name] !== next[name]);
    }

    override render(props: P) {
      return h(draw, props);
    }
  }
  return Kept as unknown as FunctionComponent<P>;
}
