// What lies over the screen: a native dialog at the lower edge, within reach of the thumb. Esc and Close leave it;
// the browser keeps the focus inside and gives it back.

import type { ComponentChildren } from 'preact';
import { useEffect, useId, useRef } from 'preact/hooks';
import { alarm, panel } from '../state';

export function Sheet({
  title,
  wide,
  onClose,
  children,
}: {
  title: string;
  wide?: boolean;
  onClose: () => void;
  children: ComponentChildren;
}) {
  const dialog = useRef<HTMLDialogElement>(null);
  const heading = useId();
  useEffect(() => {
    const element = dialog.current;
    if (element !== null && !element.open) element.showModal();
  }, []);
  return (
    <dialog
      ref={dialog}
      class={wide === true ? 'sheet wide' : 'sheet'}
      aria-labelledby={heading}
      onCancel={(event) => {
        event.preventDefault();
        onClose();
      }}
    >
      <header class="sheet-head">
        <h2 id={heading}>{title}</h2>
        <button type="button" class="quiet" onClick={onClose}>
          Close
        </button>
      </header>
      <div class="sheet-body">{children}</div>
    </dialog>
  );
}

/** The form that `panel` holds. */
export function Panel() {
  const open = panel.value;
  if (open === null) return null;
  const close = () => {
    if (panel.value !== open) return;
    panel.value = null;
    alarm.value = null;
  };
  return (
    <Sheet key={open.title} title={open.title} onClose={close}>
      {open.body(close)}
    </Sheet>
  );
}
