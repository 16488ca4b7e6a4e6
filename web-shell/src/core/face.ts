// The core as the worker calls it. `pkg/core.js` (wasm-bindgen's output) has a class of exactly this shape.

export interface CoreFace {
  load_rulesets(files_json: string): void;
  begin(session_json: string, random: Uint8Array): void;
  open(doc: string, chunks: Uint8Array): void;
  docs(): string[];
  is_open(doc: string): boolean;
  close(doc: string): void;
  propose(doc: string, command_json: string, now_ms: number): Uint8Array;
  accept(doc: string): void;
  discard(doc: string): void;
  snapshot(doc: string): Uint8Array;
  job(doc: string): string;
  place(doc: string, place: string): string;
  reason(doc: string, provision: string, subject: string): string;
  notice(doc: string): string;
  fact_history(doc: string, subject: string, fact: string): string;
  read_value(doc: string, subject: string, fact: string, text: string): string;
  link_open(peer_id: string): Uint8Array[];
  link_follow(doc: string): void;
  link_receive(frame: Uint8Array): string;
  staged(doc: string): Uint8Array;
  link_settle(): void;
  link_send(): Uint8Array[];
  link_close(): void;
  standing(doc: string): string;
  photos(doc: string): string;
  free(): void;
}
