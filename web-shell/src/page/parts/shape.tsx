// The marks: each verdict has its own outline, so that it is told apart without colour, in grey print and in glare.

import type { Mark, Tally, VerdictWord } from '../../core/types';
import { VERDICT_ORDER, VERDICT_WORDS } from '../words';

export type ShapeName = VerdictWord | 'disputed' | 'to_see' | 'tablet' | 'server';

export function Shape({ name }: { name: ShapeName }) {
  return (
    <svg class={`shape shape-${name}`} viewBox="0 0 24 24" aria-hidden="true" focusable="false">
      {outline(name)}
    </svg>
  );
}

function outline(name: ShapeName) {
  switch (name) {
    case 'complies':
      return <circle cx="12" cy="12" r="9" class="solid" />;
    case 'violates':
      return <path d="M12 1 23 12 12 23 1 12Z" class="solid" />;
    case 'undetermined':
      return <path d="M3 9V3h6M15 3h6v6M21 15v6h-6M9 21H3v-6" class="line" />;
    case 'settled':
      return <circle cx="12" cy="12" r="8" class="line" />;
    case 'not_applicable':
      return <path d="M4 12h16" class="line" />;
    case 'disputed':
      return <path d="M2 4l9 8-9 8ZM22 4l-9 8 9 8Z" class="solid" />;
    case 'to_see':
      // A beam: narrow at the hand, wide at the wall.
      return <path d="M2 10v4l20 8V2Z" class="solid" />;
    case 'tablet':
      return <path d="M5 2h14v20H5ZM10 19h4" class="line" />;
    case 'server':
      return <path d="M3 4h18v6H3ZM3 14h18v6H3ZM7 7h.1M7 17h.1" class="line" />;
  }
}

/** A verdict as word and shape. */
export function VerdictMark({ verdict }: { verdict: VerdictWord }) {
  return (
    <span class={`verdict-mark ink-${verdict}`}>
      <Shape name={verdict} /> <b>{VERDICT_WORDS[verdict]}</b>
    </span>
  );
}

/** Counts by word, shape and number; what is zero is left out. */
export function TallyLine({ tally }: { tally: Tally }) {
  const words = VERDICT_ORDER.filter((word) => word !== 'not_applicable' && tally[word] > 0);
  return (
    <span class="tally">
      {words.map((word) => (
        <span key={word} class={`ink-${word}`}>
          <Shape name={word} /> {tally[word]} {VERDICT_WORDS[word].toLowerCase()}
        </span>
      ))}
      {tally.to_see > 0 && (
        <span class="ink-to_see">
          <Shape name="to_see" /> {tally.to_see} still to see
        </span>
      )}
      {words.length === 0 && tally.to_see === 0 && <span>Nothing to see at this stage</span>}
    </span>
  );
}

const MARK_SHAPES: Record<Mark, ShapeName | null> = {
  yes: 'complies',
  no: 'violates',
  open: 'undetermined',
  none: null,
};

export function LineMark({ mark }: { mark: Mark }) {
  const shape = MARK_SHAPES[mark];
  return (
    <span class={shape === null ? 'line-mark' : `line-mark ink-${shape}`}>
      {shape !== null && <Shape name={shape} />}
    </span>
  );
}
