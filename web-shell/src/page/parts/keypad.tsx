// The number pad: made for a thumb in a glove, with the marks of a tape beside the digits. The field takes a hardware
// keyboard and a paste too. What the number means is read back by the core while it is entered.

import { useEffect, useState } from 'preact/hooks';
import type { EntryForm } from '../../core/types';
import { ask } from '../bridge';
import { alarm_of, doc_here } from '../state';
import { EIGHTHS, fraction_of, type Key, press, SIXTEENTHS, with_unit } from '../tape';

interface KeypadProps {
  subject: string;
  fact: string;
  label: string;
  entry: Extract<EntryForm, { type: 'number' } | { type: 'count' }>;
  onRecord(value: string, spoken: string): void;
}

export function Keypad({ subject, fact, label, entry, onRecord }: KeypadProps) {
  const units = entry.type === 'number' ? entry.units : [];
  const fractions = entry.type === 'number' && entry.fractions;
  const [text, set_text] = useState('');
  const [unit, set_unit] = useState(units[0] ?? '');
  const [read, set_read] = useState<{ spoken: string } | { problem: string } | null>(null);
  const value = with_unit(text, unit);
  useEffect(() => {
    if (text.trim() === '') {
      set_read(null);
      return;
    }
    let current = true;
    ask({ type: 'read_value', doc: doc_here(), subject, fact, text: value }).then(
      (fresh) => current && set_read({ spoken: fresh.spoken }),
      (error: unknown) => current && set_read({ problem: alarm_of(error) }),
    );
    return () => {
      current = false;
    };
  }, [value, text, subject, fact]);
  const spoken = read !== null && 'spoken' in read ? read.spoken : null;
  const hit = (key: Key) => set_text((before) => press(before, key));
  const record = () => {
    if (spoken !== null) onRecord(value, spoken);
  };
  const chosen = fraction_of(text);
  return (
    <form
      class={fractions ? 'keypad with-tape' : 'keypad'}
      onSubmit={(event) => {
        event.preventDefault();
        record();
      }}
    >
      <div class="readout">
        <input
          type="text"
          inputmode="decimal"
          autocomplete="off"
          aria-label={label}
          aria-describedby="read-back"
          placeholder={entry.least !== '' && entry.most !== '' ? `${entry.least} to ${entry.most}` : ''}
          value={text}
          onInput={(event) => set_text(event.currentTarget.value)}
        />
        {units.length > 1 ? (
          <fieldset class="segments units">
            <legend class="unseen">Unit</legend>
            {units.map((one) => (
              <label key={one}>
                <input type="radio" name="unit" checked={unit === one} onChange={() => set_unit(one)} />
                <span>{one}</span>
              </label>
            ))}
          </fieldset>
        ) : (
          <span class="unit">{units[0] ?? ''}</span>
        )}
        <output id="read-back" class={read !== null && 'problem' in read ? 'warning' : ''} aria-live="polite">
          {read === null ? '' : 'spoken' in read ? `Reads: ${read.spoken}` : read.problem}
        </output>
      </div>
      {fractions && (
        <div class="tape" role="group" aria-label="Parts of an inch">
          <div class="tape-eighths">
            {EIGHTHS.map((mark) => (
              <FractionKey key={mark} mark={mark} chosen={chosen} hit={hit} />
            ))}
          </div>
          <div class="tape-sixteenths">
            {SIXTEENTHS.map((mark) => (
              <FractionKey key={mark} mark={mark} chosen={chosen} hit={hit} />
            ))}
          </div>
        </div>
      )}
      <div class="keys" role="group" aria-label="Digits">
        {['1', '2', '3', '4', '5', '6', '7', '8', '9'].map((digit) => (
          <button key={digit} type="button" class="key" onClick={() => hit({ key: 'digit', digit })}>
            {digit}
          </button>
        ))}
        {entry.type === 'number' ? (
          <button type="button" class="key" aria-label="Point" onClick={() => hit({ key: 'point' })}>
            .
          </button>
        ) : (
          <button type="button" class="key" onClick={() => hit({ key: 'clear' })}>
            Clear
          </button>
        )}
        <button type="button" class="key" onClick={() => hit({ key: 'digit', digit: '0' })}>
          0
        </button>
        <button type="button" class="key" onClick={() => hit({ key: 'back' })}>
          Back
        </button>
      </div>
      <button type="submit" class="primary record" disabled={spoken === null}>
        {spoken === null ? 'Record' : `Record ${spoken}`}
      </button>
    </form>
  );
}

function FractionKey({ mark, chosen, hit }: { mark: string; chosen: string; hit: (key: Key) => void }) {
  return (
    <button
      type="button"
      class="key mark"
      aria-pressed={chosen === mark}
      onClick={() => hit({ key: 'fraction', fraction: mark })}
    >
      {mark}
    </button>
  );
}
