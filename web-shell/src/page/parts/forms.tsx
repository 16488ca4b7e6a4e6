// The small forms over a screen: a few words, one act. A form closes only when the act is saved; what was typed stays
// in it when it is not.

import type { ComponentChildren } from 'preact';
import { useState } from 'preact/hooks';
import { alarm, panel } from '../state';

interface WordsForm {
  title: string;
  /** What the words are for, above the field. */
  about?: ComponentChildren;
  label: string;
  initial?: string;
  submit: string;
  long?: boolean;
  optional?: boolean;
  act(words: string): Promise<boolean>;
}

/** Asks for words and acts on them. */
export function ask_words(form: WordsForm): void {
  alarm.value = null;
  panel.value = { title: form.title, body: (close) => <Words form={form} close={close} /> };
}

function Words({ form, close }: { form: WordsForm; close: () => void }) {
  const [words, set_words] = useState(form.initial ?? '');
  const [busy, set_busy] = useState(false);
  const [missing, set_missing] = useState(false);
  return (
    <form
      class="stack"
      onSubmit={async (event) => {
        event.preventDefault();
        if (words.trim() === '' && form.optional !== true) {
          set_missing(true);
          return;
        }
        set_busy(true);
        const saved = await form.act(words.trim());
        set_busy(false);
        if (saved) close();
      }}
    >
      {form.about}
      <label class="field">
        <span>{form.label}</span>
        {form.long === true ? (
          <textarea rows={3} value={words} autofocus onInput={(event) => set_words(event.currentTarget.value)} />
        ) : (
          <input
            type="text"
            autocomplete="off"
            value={words}
            autofocus
            onInput={(event) => set_words(event.currentTarget.value)}
          />
        )}
      </label>
      {missing && words.trim() === '' && (
        <p class="warning" role="alert">
          Write a few words first: nothing was saved yet.
        </p>
      )}
      <Alarm />
      <button type="submit" class="primary" disabled={busy}>
        {form.submit}
      </button>
    </form>
  );
}

/** Asks once more before an act that is not taken back with one tap. */
export function ask_sure(form: {
  title: string;
  about: ComponentChildren;
  submit: string;
  act(): Promise<boolean>;
}): void {
  alarm.value = null;
  panel.value = {
    title: form.title,
    body: (close) => (
      <div class="stack">
        {form.about}
        <Alarm />
        <button
          type="button"
          class="primary"
          onClick={async () => {
            if (await form.act()) close();
          }}
        >
          {form.submit}
        </button>
      </div>
    ),
  };
}

/** What went wrong with the last act, if anything did. */
export function Alarm() {
  if (alarm.value === null) return null;
  return (
    <div class="alarm" role="alert">
      <p>{alarm.value}</p>
      <button
        type="button"
        class="quiet"
        onClick={() => {
          alarm.value = null;
        }}
      >
        Understood
      </button>
    </div>
  );
}
