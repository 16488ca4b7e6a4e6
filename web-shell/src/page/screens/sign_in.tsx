import { useState } from 'preact/hooks';
import { ask } from '../bridge';
import { Alarm } from '../parts/forms';
import { attempt, status } from '../state';

export function SignIn({ again }: { again: boolean }) {
  return (
    <main class="page narrow sign-in">
      <p class="wordmark" aria-hidden="true">
        Crownweir
      </p>
      <h1 tabIndex={-1}>Sign in</h1>
      <p>Once, where there is a signal. After that everything you do is kept on this tablet and goes over by itself.</p>
      <SignInForm again={again} done={() => undefined} />
      <p class="caution">
        Crownweir is an aid to the inspector's own judgement. What it says defers to the local code official and to
        licensed practice. Smell gas, or find sewage, exposed wiring or water hot enough to scald: make people safe
        first, then record.
      </p>
    </main>
  );
}

/** `again`: the session has run out; the work stays open behind the form. */
export function SignInForm({ again, done }: { again: boolean; done: () => void }) {
  const before = status.value?.session ?? null;
  const [user, set_user] = useState(before?.user ?? '');
  const [password, set_password] = useState('');
  const [device, set_device] = useState(before?.device || localStorage.getItem('device') || '');
  const [busy, set_busy] = useState(false);
  return (
    <form
      class="stack"
      onSubmit={async (event) => {
        event.preventDefault();
        set_busy(true);
        localStorage.setItem('device', device.trim());
        const in_now = await attempt(() =>
          ask({ type: 'sign_in', user: user.trim(), password, device: device.trim() || 'Tablet' }),
        );
        set_busy(false);
        if (in_now) done();
      }}
    >
      <label class="field">
        <span>User name</span>
        <input
          type="text"
          name="username"
          autocomplete="username"
          autocapitalize="none"
          spellcheck={false}
          required
          readOnly={again}
          value={user}
          onInput={(event) => set_user(event.currentTarget.value)}
        />
      </label>
      <label class="field">
        <span>Password</span>
        <input
          type="password"
          name="password"
          autocomplete="current-password"
          required
          value={password}
          onInput={(event) => set_password(event.currentTarget.value)}
        />
      </label>
      {!again && (
        <label class="field">
          <span>Name of this tablet</span>
          <input
            type="text"
            name="device"
            autocomplete="off"
            placeholder="Truck 7"
            value={device}
            onInput={(event) => set_device(event.currentTarget.value)}
          />
          <small>Stands beside what is recorded here, so that others know where it came from.</small>
        </label>
      )}
      <Alarm />
      <button type="submit" class="primary" disabled={busy}>
        {busy ? 'Signing in…' : 'Sign in'}
      </button>
    </form>
  );
}
