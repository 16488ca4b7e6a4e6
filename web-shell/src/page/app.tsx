import { useEffect, useRef } from 'preact/hooks';
import { stay_awake } from './awake';
import { Panel } from './parts/sheet';
import { Strip } from './parts/strip';
import { Day } from './screens/day';
import { Job } from './screens/job';
import { Notice } from './screens/notice';
import { Place } from './screens/place';
import { Settings } from './screens/settings';
import { SignIn } from './screens/sign_in';
import { alarm, panel, route, said, status, stopped, target } from './state';

export function App() {
  if (stopped.value !== null) return <Stopped message={stopped.value} />;
  return (
    <>
      <Strip />
      <Screen />
      <Panel />
      <p class="said" role="status" aria-live="polite">
        <span>{said.value}</span>
      </p>
    </>
  );
}

function Screen() {
  const here = route.value;
  const key =
    here.screen === 'place'
      ? `${here.doc}/${here.place}`
      : here.screen === 'job' || here.screen === 'notice'
        ? here.doc
        : '';
  const first = useRef(true);
  useEffect(() => {
    panel.value = null;
    target.value = null;
    alarm.value = null;
    said.value = '';
    void stay_awake(here.screen === 'place');
    // A new screen starts at its heading, for eyes and for screen readers; the first one is left to the browser.
    if (first.current) first.current = false;
    else document.querySelector<HTMLElement>('main h1')?.focus();
  }, [here.screen, key]);
  if (status.value?.session === null || status.value === null) return <SignIn again={false} />;
  switch (here.screen) {
    case 'day':
      return <Day />;
    case 'settings':
      return <Settings />;
    case 'job':
      return <Job doc={here.doc} />;
    case 'place':
      return <Place key={key} doc={here.doc} place={here.place} />;
    case 'notice':
      return <Notice doc={here.doc} />;
  }
}

function Stopped({ message }: { message: string }) {
  return (
    <main class="page narrow">
      <h1 tabIndex={-1}>Crownweir has stopped</h1>
      <p role="alert">{message}</p>
      <p>Everything that was shown as saved is on this tablet's disk.</p>
      <button type="button" class="primary" onClick={() => location.reload()}>
        Start again
      </button>
    </main>
  );
}
