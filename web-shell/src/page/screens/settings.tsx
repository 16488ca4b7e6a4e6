import { ask } from '../bridge';
import { ask_sure } from '../parts/forms';
import { kept_words } from '../parts/strip';
import { attempt, go, hand, persisted, program_stored, status } from '../state';

export function Settings() {
  const now = status.value;
  if (now === null || now.session === null) return null;
  const session = now.session;
  return (
    <main class="page narrow">
      <nav class="back">
        <a href="#/">Jobs</a>
      </nav>
      <h1 tabIndex={-1}>Settings</h1>
      <section class="card stack">
        <h2>Hand</h2>
        <fieldset class="segments">
          <legend>The keys lie on the side of</legend>
          {(['left', 'right'] as const).map((side) => (
            <label key={side}>
              <input
                type="radio"
                name="hand"
                checked={hand.value === side}
                onChange={() => {
                  hand.value = side;
                }}
              />
              <span>{side === 'left' ? 'Left hand' : 'Right hand'}</span>
            </label>
          ))}
        </fieldset>
      </section>
      <section class="card stack">
        <h2>This tablet</h2>
        <dl class="pairs">
          <dt>Signed in</dt>
          <dd>
            {session.name}, {session.role}, {session.agency}
          </dd>
          <dt>Tablet</dt>
          <dd>{session.device}</dd>
          <dt>Program</dt>
          <dd>
            {program_stored.value
              ? 'Stored here; starts without a signal'
              : 'Not stored yet; stay in signal for a moment'}
          </dd>
          <dt>Codes</dt>
          <dd>
            {now.rulesets.problem ??
              (now.rulesets.loaded ? `Stored here (${now.rulesets.digest.slice(0, 12)})` : 'Not stored yet')}
          </dd>
          <dt>Storage</dt>
          <dd>
            {persisted.value === true
              ? 'The browser has promised to keep it'
              : 'The browser may clear it when space runs short'}
          </dd>
        </dl>
        <button
          type="button"
          onClick={() =>
            ask_sure({
              title: 'Sign out',
              about: (
                <p>{kept_words(now) || 'Everything on this tablet is on the server too. It stays here as well.'}</p>
              ),
              submit: 'Sign out',
              act: () =>
                attempt(async () => {
                  await ask({ type: 'sign_out' });
                  go({ screen: 'day' });
                }),
            })
          }
        >
          Sign out
        </button>
      </section>
    </main>
  );
}
