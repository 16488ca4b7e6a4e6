// A photo as it is kept: upright, scaled, stripped of place and device (re-encoding drops every EXIF field), named by
// the SHA-256 of its bytes.

import { Plain } from '../shared/messages';

const LONG_SIDE_PX = 2048;
const JPEG_QUALITY = 0.82;

export async function prepare(image: Blob): Promise<{ sha256: string; bytes: ArrayBuffer }> {
  let bitmap: ImageBitmap;
  try {
    bitmap = await createImageBitmap(image, { imageOrientation: 'from-image' });
  } catch {
    throw new Plain(
      'refused',
      'This file is not an image that can be read here. Nothing was added. Take the photo again, or choose a JPEG or PNG file.',
    );
  }
  const scale = Math.min(1, LONG_SIDE_PX / Math.max(bitmap.width, bitmap.height));
  const canvas = new OffscreenCanvas(
    Math.max(1, Math.round(bitmap.width * scale)),
    Math.max(1, Math.round(bitmap.height * scale)),
  );
  const context = canvas.getContext('2d');
  if (context === null) {
    bitmap.close();
    throw new Plain(
      'refused',
      'This tablet has too little memory for the photo just now. Nothing was added. Close other programs and take it again.',
    );
  }
  context.drawImage(bitmap, 0, 0, canvas.width, canvas.height);
  bitmap.close();
  const bytes = await (await canvas.convertToBlob({ type: 'image/jpeg', quality: JPEG_QUALITY })).arrayBuffer();
  return { sha256: hex(await crypto.subtle.digest('SHA-256', bytes)), bytes };
}

function hex(digest: ArrayBuffer): string {
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, '0')).join('');
}
