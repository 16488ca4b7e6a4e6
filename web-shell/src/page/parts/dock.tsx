// The light: one thing at a time, at the thumb. It stands on what is next to see, goes where the inspector taps, and
// moves on by itself when something was recorded, so that a room is swept without hunting for the next field.

import { useEffect, useId, useRef, useState } from 'preact/hooks';
import type {
  ClosingView,
  FactView,
  JobView,
  NeedView,
  ObservationView,
  PlacePage,
  PlaceView,
  SubjectView,
} from '../../core/types';
import { command, go, locked, say, type Target, target, views } from '../state';
import { HOW_WORDS, how_word, local_times, today, VERDICT_WORDS } from '../words';
import { add_subject } from './add';
import { Alarm } from './forms';
import { Keypad } from './keypad';
import { TakePhoto } from './photos';
import { Shape } from './shape';

/** What the light stands on: where the user put it, else the first thing still to see here. */
export function lit(page: PlacePage): Target | null {
  const chosen = target.value;
  if (chosen !== null && page.subjects.some((subject) => subject.id === chosen.subject)) return chosen;
  const first = page.still_to_see[0];
  return first === undefined ? null : target_of(first);
}

export function target_of(need: NeedView): Target {
  return { subject: need.subject, what: need.what, closing: need.closing };
}

export function same(a: Target | null, b: Target | null): boolean {
  return a !== null && b !== null && a.subject === b.subject && a.what === b.what && a.closing === b.closing;
}

/** Puts the light on something and the focus with it. */
export function light(on: Target): void {
  target.value = on;
  requestAnimationFrame(() => document.getElementById('light')?.focus());
}

/** After something was recorded: the keys that had the focus are gone, so it goes to what is lit next. */
function move_on(next: Target | null): void {
  target.value = next;
  requestAnimationFrame(() => document.getElementById('light')?.focus({ preventScroll: true }));
}

function after(page: PlacePage, on: Target): Target | null {
  const at = page.still_to_see.findIndex((need) => same(target_of(need), on));
  const next = at < 0 ? undefined : page.still_to_see[at + 1];
  return next === undefined ? null : target_of(next);
}

export function Dock({ doc, page, job }: { doc: string; page: PlacePage; job: JobView }) {
  const on = lit(page);
  const why_not = locked();
  if (why_not !== null) {
    return (
      <section class="dock" aria-label="Entry">
        <p>{why_not}</p>
      </section>
    );
  }
  const subject = on === null ? undefined : page.subjects.find((one) => one.id === on.subject);
  if (on === null || subject === undefined) {
    return (
      <section class="dock" aria-label="Entry">
        <Alarm />
        <p class="dock-empty">
          <Shape name="complies" /> Nothing is left to see here at this stage. Tap a fact to change it.
        </p>
      </section>
    );
  }
  const key = `${on.subject}/${on.what}/${on.closing}`;
  const fact = subject.facts.find((one) => one.fact === on.what);
  const closing = on.closing ? subject.closings.find((one) => one.kind === on.what) : undefined;
  return (
    <section class="dock" aria-label="Entry">
      <Alarm />
      {fact !== undefined && !on.closing ? (
        <FactEntry key={key} doc={doc} page={page} subject={subject} fact={fact} on={on} />
      ) : closing !== undefined ? (
        <ClosingEntry key={key} page={page} job={job} subject={subject} closing={closing} on={on} />
      ) : (
        <p>This cannot be entered here. Choose another thing to see.</p>
      )}
    </section>
  );
}

function Head({
  label,
  subject,
  page,
  on,
  state,
}: {
  label: string;
  subject: SubjectView;
  page: PlacePage;
  on: Target;
  state: string;
}) {
  const next = after(page, on) ?? (page.still_to_see[0] === undefined ? null : target_of(page.still_to_see[0]));
  return (
    <header class="dock-head">
      <Shape name="to_see" />
      <div>
        <h2 id="light" tabIndex={-1}>
          {label}
        </h2>
        <p class="under">
          {subject.name}
          {state !== '' && ` · ${state}`}
        </p>
      </div>
      {next !== null && !same(next, on) && (
        <button type="button" onClick={() => light(next)}>
          Next
        </button>
      )}
    </header>
  );
}

interface FactEntryProps {
  doc: string;
  page: PlacePage;
  subject: SubjectView;
  fact: FactView;
  on: Target;
}

function FactEntry({ doc, page, subject, fact, on }: FactEntryProps) {
  const number = fact.entry.type === 'number';
  const [how, set_how] = useState(number ? 'measured' : 'seen');
  const [note, set_note] = useState('');
  const [writes, set_writes] = useState(false);
  const hint = useId();
  const now = fact.current[0];
  const state =
    fact.state === 'disputed'
      ? `${fact.current.length} values stand`
      : now === undefined
        ? 'not seen yet'
        : `now ${now.value}, ${how_word(now.how).toLowerCase()} by ${now.by}`;

  const record = async (value: string, words: string) => {
    const before = verdicts(page);
    const next = after(page, on);
    const saved = await command(
      { do: 'record', subject: subject.id, fact: fact.fact, value, how, note: note.trim() },
      `${fact.label} of ${subject.name}, ${words}`,
    );
    if (!saved) return;
    const changes = changed(before, views.value?.place ?? null);
    if (changes !== '') say(`Saved on this tablet: ${fact.label}, ${words}. ${changes}`);
    move_on(next);
  };

  /** A value that somebody took back stands in dispute too: deciding for it is taking it back. */
  const decide = (one: ObservationView) =>
    one.typed === ''
      ? command(
          { do: 'withdraw', subject: subject.id, fact: fact.fact, note: note.trim() },
          `${fact.label} of ${subject.name} is not known after all`,
        )
      : record(one.typed, one.value);

  return (
    <>
      <Head label={fact.label} subject={subject} page={page} on={on} state={state} />
      {(fact.hint !== '' || fact.wanted_for.length > 0) && (
        <p class="hint" id={hint}>
          {fact.hint}
          {fact.wanted_for.length > 0 && <span class="wanted"> Wanted for: {some(fact.wanted_for)}.</span>}
        </p>
      )}
      {fact.state === 'disputed' && (
        <div class="decide" role="group" aria-label="Decide between the values">
          {fact.current.map((one) => (
            <button key={one.id} type="button" class="verdict-size" onClick={() => decide(one)}>
              Decide for {one.value}
              <small>
                {one.by}, {local_times(one.at)}
              </small>
            </button>
          ))}
        </div>
      )}
      <div class="entry">
        <Entry subject={subject} fact={fact} record={record} />
      </div>
      <div class="dock-foot">
        <fieldset class="segments how">
          <legend>How</legend>
          {HOW_WORDS.map(([word, label]) => (
            <label key={word}>
              <input type="radio" name="how" value={word} checked={how === word} onChange={() => set_how(word)} />
              <span>{label}</span>
            </label>
          ))}
        </fieldset>
        <div class="dock-acts">
          <button type="button" aria-expanded={writes} onClick={() => set_writes(!writes)}>
            Note
          </button>
          <TakePhoto subject={subject.id} name={subject.name} caption={fact.label} />
          <button
            type="button"
            onClick={() =>
              go({
                screen: 'place',
                doc,
                place: page.place.id,
                sheet: { sheet: 'fact', subject: subject.id, fact: fact.fact },
              })
            }
          >
            History
          </button>
          {now !== undefined && (
            <button
              type="button"
              onClick={() =>
                command(
                  { do: 'withdraw', subject: subject.id, fact: fact.fact, note: note.trim() },
                  `${fact.label} of ${subject.name} is not known after all`,
                )
              }
            >
              Not known after all
            </button>
          )}
        </div>
        {writes && (
          <label class="field">
            <span>Note (goes with the next value)</span>
            <input
              type="text"
              autocomplete="off"
              value={note}
              onInput={(event) => set_note(event.currentTarget.value)}
            />
          </label>
        )}
      </div>
    </>
  );
}

function Entry({
  subject,
  fact,
  record,
}: {
  subject: SubjectView;
  fact: FactView;
  record: (value: string, words: string) => void;
}) {
  const { entry } = fact;
  switch (entry.type) {
    case 'yes_no':
      return (
        <div class="choices two">
          {[
            ['yes', 'Yes'],
            ['no', 'No'],
          ].map(([word = '', label = '']) => (
            <Choice key={word} fact={fact} word={word} label={label} record={record} />
          ))}
        </div>
      );
    case 'choice':
      return (
        <div class="choices">
          {entry.words.map(({ word, label }) => (
            <Choice key={word} fact={fact} word={word} label={label} record={record} />
          ))}
        </div>
      );
    case 'number':
    case 'count':
      return <Keypad subject={subject.id} fact={fact.fact} label={fact.label} entry={entry} onRecord={record} />;
    case 'date':
      return <DateEntry label={fact.label} record={record} />;
  }
}

function Choice({
  fact,
  word,
  label,
  record,
}: {
  fact: FactView;
  word: string;
  label: string;
  record: (value: string, words: string) => void;
}) {
  const stands = fact.state === 'seen' && fact.current[0]?.typed === word;
  return (
    <button type="button" class="verdict-size choice" aria-pressed={stands} onClick={() => record(word, label)}>
      {label}
    </button>
  );
}

function DateEntry({ label, record }: { label: string; record: (value: string, words: string) => void }) {
  const [day, set_day] = useState('');
  return (
    <form
      class="choices two"
      onSubmit={(event) => {
        event.preventDefault();
        if (day !== '') record(day, day);
      }}
    >
      <label class="field">
        <span>{label}</span>
        <input type="date" value={day} onInput={(event) => set_day(event.currentTarget.value)} />
      </label>
      <div class="stack">
        <button type="button" onClick={() => set_day(today())}>
          Today
        </button>
        <button type="submit" class="primary" disabled={day === ''}>
          Record {day}
        </button>
      </div>
    </form>
  );
}

interface ClosingEntryProps {
  page: PlacePage;
  job: JobView;
  subject: SubjectView;
  closing: ClosingView;
  on: Target;
}

function ClosingEntry({ page, job, subject, closing, on }: ClosingEntryProps) {
  const { kind, label, closed } = closing;
  const addable = page.addable.filter((one) => one.parent === subject.id && one.kind === kind);
  const inside = [
    ...page.subjects.filter((one) => one.parent === subject.id && one.struck === null),
    ...(subject.id === page.place.id ? places_within(job, subject.id) : []),
  ];
  // A kind that cannot be added as such is a wider one (any fixture): then everything listed here bears on it.
  const listed = addable.length > 0 ? inside.filter((one) => one.kind === kind) : inside;
  const act = async (all: boolean) => {
    const next = after(page, on);
    const saved = await command(
      { do: 'close', subject: subject.id, kind, all },
      `${label} in ${subject.name}: ${all ? 'that is all of them' : 'there may be more'}`,
    );
    if (saved) move_on(next);
  };
  return (
    <>
      <Head
        label={`${label}: is that all of them?`}
        subject={subject}
        page={page}
        on={on}
        state={closed ? 'all listed' : 'there may be more'}
      />
      <p class="hint">
        {listed.length === 0 ? 'None is listed here.' : `Listed here: ${listed.map((one) => one.name).join(', ')}.`} Add
        what is missing, then say so.
      </p>
      <div class="choices two">
        <button type="button" class="verdict-size" aria-pressed={closed} onClick={() => act(true)}>
          {listed.length === 0 ? 'There is none' : "That's all of them"}
        </button>
        {closed ? (
          <button type="button" class="verdict-size" onClick={() => act(false)}>
            There may be more
          </button>
        ) : (
          addable.length > 0 && (
            <button type="button" class="verdict-size" onClick={() => add_subject(page, addable)}>
              Add one
            </button>
          )
        )}
      </div>
    </>
  );
}

/** The places directly within one: the walk is depth first. */
function places_within(job: JobView, place: string): PlaceView[] {
  const at = job.places.findIndex((one) => one.id === place);
  const own = job.places[at];
  if (own === undefined) return [];
  const rest = job.places.slice(at + 1);
  const end = rest.findIndex((one) => one.depth <= own.depth);
  return (end < 0 ? rest : rest.slice(0, end)).filter((one) => one.depth === own.depth + 1 && one.struck === null);
}

/** Verdicts by provision and subject, to say which ones an entry changed. */
function verdicts(page: PlacePage | null): Map<string, { word: string; text: string }> {
  const all = (page?.subjects ?? []).flatMap((subject) => subject.verdicts);
  return new Map(
    all.map((one) => [
      `${one.provision}/${one.subject}`,
      { word: one.verdict, text: `${one.title}: ${VERDICT_WORDS[one.verdict].toLowerCase()}` },
    ]),
  );
}

function changed(before: Map<string, { word: string }>, page: PlacePage | null): string {
  const news = [...verdicts(page)]
    .filter(([key, now]) => before.get(key)?.word !== now.word && now.word !== 'not_applicable')
    .map(([, now]) => now.text);
  if (news.length === 0) return '';
  return news.length > 2
    ? `${news.slice(0, 2).join('. ')}, and ${news.length - 2} more changed.`
    : `${news.join('. ')}.`;
}

/** Keeps what is lit in sight within its own list; where the page scrolls as a whole, the page stays put. */
export function useLitInView(lit_here: boolean, list: '.rail' | '.subjects') {
  const ref = useRef<HTMLButtonElement>(null);
  useEffect(() => {
    const box = lit_here ? ref.current?.closest(list) : null;
    if (box && box.scrollHeight > box.clientHeight) ref.current?.scrollIntoView({ block: 'nearest' });
  }, [lit_here, list]);
  return ref;
}

/** The first two, and how many more. */
function some(titles: string[]): string {
  return titles.length > 2 ? `${titles.slice(0, 2).join('; ')}; and ${titles.length - 2} more` : titles.join('; ');
}
