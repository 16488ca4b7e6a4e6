// Adding what stands in a place: the kinds come from the vocabulary, the name starts as the kind with the next number.

import { useState } from 'preact/hooks';
import type { KindView, PlacePage } from '../../core/types';
import { free_name } from '../names';
import { alarm, command, panel } from '../state';
import { Alarm } from './forms';

export function add_subject(page: PlacePage, kinds: KindView[]): void {
  alarm.value = null;
  panel.value = {
    title: `Add in ${page.place.name}`,
    body: (close) => <Add page={page} kinds={kinds} close={close} />,
  };
}

function Add({ page, kinds, close }: { page: PlacePage; kinds: KindView[]; close: () => void }) {
  const [chosen, set_chosen] = useState<KindView | null>(kinds.length === 1 ? (kinds[0] ?? null) : null);
  const [search, set_search] = useState('');
  if (chosen !== null) return <Name page={page} kind={chosen} close={close} />;
  const wanted = search.trim().toLowerCase();
  const shown = kinds.filter((kind) => `${kind.label} ${kind.parent_name}`.toLowerCase().includes(wanted));
  const parents = [...new Set(shown.map((kind) => kind.parent))];
  return (
    <div class="stack">
      <label class="field">
        <span>Find a kind</span>
        <input
          type="search"
          autocomplete="off"
          value={search}
          onInput={(event) => set_search(event.currentTarget.value)}
        />
      </label>
      {parents.map((parent) => {
        const here = shown.filter((kind) => kind.parent === parent);
        return (
          <section key={parent}>
            <h3>In {here[0]?.parent_name}</h3>
            <div class="choices">
              {here.map((kind) => (
                <button key={kind.kind} type="button" class="choice" onClick={() => set_chosen(kind)}>
                  {kind.label}
                </button>
              ))}
            </div>
          </section>
        );
      })}
      {shown.length === 0 && <p>No kind of that name may stand here.</p>}
    </div>
  );
}

function Name({ page, kind, close }: { page: PlacePage; kind: KindView; close: () => void }) {
  const [name, set_name] = useState(() =>
    free_name(
      kind.label,
      page.subjects.map((subject) => subject.name),
    ),
  );
  return (
    <form
      class="stack"
      onSubmit={async (event) => {
        event.preventDefault();
        const called = name.trim() || kind.label;
        if (await command({ do: 'add_subject', kind: kind.kind, name: called, parent: kind.parent }, `${called} added`))
          close();
      }}
    >
      <p>
        {kind.label} in {kind.parent_name}
      </p>
      <label class="field">
        <span>What it is called</span>
        <input
          type="text"
          autocomplete="off"
          autofocus
          value={name}
          onInput={(event) => set_name(event.currentTarget.value)}
        />
      </label>
      <Alarm />
      <button type="submit" class="primary">
        Add
      </button>
    </form>
  );
}
