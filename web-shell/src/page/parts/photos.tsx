// Photos: taken or chosen, kept strictly on the tablet before the record speaks of them.

import { signal } from '@preact/signals';
import { useEffect, useState } from 'preact/hooks';
import type { PhotoView } from '../../core/types';
import { ask } from '../bridge';
import { alarm, attempt, command, doc_here, panel, say } from '../state';
import { local_times } from '../words';
import { Alarm, ask_words } from './forms';

/** Object URLs by job and SHA-256; the bytes of a hash never change, so a URL stays good for the page's life. */
const urls = signal(new Map<string, string>());

export function PhotoImage({ sha256, caption }: { sha256: string; caption: string }) {
  const doc = doc_here();
  const key = `${doc}/${sha256}`;
  const url = urls.value.get(key);
  const [absent, set_absent] = useState(false);
  useEffect(() => {
    if (url !== undefined) return;
    ask({ type: 'photo_image', doc, sha256 }).then(
      (image) => {
        if (image === null) set_absent(true);
        else urls.value = new Map(urls.value).set(key, URL.createObjectURL(image));
      },
      () => set_absent(true),
    );
  }, [key, url]);
  if (url !== undefined) return <img src={url} alt={caption === '' ? 'Taken on site, without a caption' : caption} />;
  return (
    <span class="photo-absent">
      {absent ? 'This photo is on another tablet or on the server, not here yet' : 'Opening…'}
    </span>
  );
}

export function Photos({ photos, locked }: { photos: PhotoView[]; locked: boolean }) {
  if (photos.length === 0) return null;
  return (
    <ul class="photos" aria-label="Photos">
      {photos.map((photo) => (
        <li key={photo.id}>
          <figure class={photo.struck === null ? '' : 'struck'}>
            {photo.struck === null && <PhotoImage sha256={photo.sha256} caption={photo.caption} />}
            <figcaption>
              {photo.caption || 'No caption'} · {photo.by}, {local_times(photo.at)}
              {photo.struck !== null && ` · struck by ${photo.struck.by}: ${photo.struck.why}`}
            </figcaption>
          </figure>
          {!locked && (
            <button
              type="button"
              class="quiet"
              onClick={() => strike_or_restore(photo.id, photo.caption || 'photo', photo.struck !== null)}
            >
              {photo.struck === null ? 'Strike photo' : 'Restore photo'}
            </button>
          )}
        </li>
      ))}
    </ul>
  );
}

export function strike_or_restore(id: string, name: string, struck: boolean): void {
  if (struck) {
    ask_words({
      title: `Restore ${name}`,
      label: 'Why it counts again',
      submit: 'Restore',
      act: (why) => command({ do: 'restore', target: id, why }, `${name} restored`),
    });
    return;
  }
  ask_words({
    title: `Strike ${name}`,
    about: <p>It stays readable with your reason, but no longer counts.</p>,
    label: 'Reason',
    submit: 'Strike',
    act: (why) => command({ do: 'strike', target: id, why }, `${name} struck`),
  });
}

/** A button that takes or chooses a photo of a subject. */
export function TakePhoto({ subject, name, caption }: { subject: string; name: string; caption: string }) {
  return (
    <label class="button file">
      Photo
      <input
        type="file"
        accept="image/*"
        capture="environment"
        aria-label={`Photo of ${name}`}
        onChange={(event) => {
          const file = event.currentTarget.files?.[0];
          event.currentTarget.value = '';
          if (file !== undefined) keep(file, subject, name, caption);
        }}
      />
    </label>
  );
}

function keep(image: Blob, subject: string, name: string, caption: string): void {
  alarm.value = null;
  panel.value = {
    title: `Photo of ${name}`,
    body: (close) => <Keep image={image} subject={subject} name={name} initial={caption} close={close} />,
  };
}

function Keep({
  image,
  subject,
  name,
  initial,
  close,
}: {
  image: Blob;
  subject: string;
  name: string;
  initial: string;
  close: () => void;
}) {
  const [caption, set_caption] = useState(initial);
  const [busy, set_busy] = useState(false);
  const [preview, set_preview] = useState<string | null>(null);
  useEffect(() => {
    const url = URL.createObjectURL(image);
    set_preview(url);
    return () => URL.revokeObjectURL(url);
  }, [image]);
  return (
    <form
      class="stack"
      onSubmit={async (event) => {
        event.preventDefault();
        set_busy(true);
        const kept = await attempt(async () => {
          await ask({ type: 'photo', doc: doc_here(), subject, caption: caption.trim(), image });
          say(`Saved on this tablet: photo of ${name}`);
        });
        set_busy(false);
        if (kept) close();
      }}
    >
      {preview !== null && (
        <img class="preview" src={preview} alt="As it will be kept" onError={() => set_preview(null)} />
      )}
      <label class="field">
        <span>What it shows</span>
        <input
          type="text"
          autocomplete="off"
          value={caption}
          onInput={(event) => set_caption(event.currentTarget.value)}
        />
      </label>
      <Alarm />
      <button type="submit" class="primary" disabled={busy}>
        {busy ? 'Keeping…' : 'Keep photo'}
      </button>
    </form>
  );
}
