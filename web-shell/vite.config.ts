import { defineConfig } from 'vite';
import { VitePWA } from 'vite-plugin-pwa';

// `npm run build` runs build/finish.mjs after this: it fails when the precache lacks the core's .wasm.
export default defineConfig({
  oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
  build: { target: 'es2022', assetsInlineLimit: 0, modulePreload: { polyfill: false } },
  worker: { format: 'es' },
  plugins: [
    VitePWA({
      // Code is swapped between visits by the user, never under an inspector's hands.
      registerType: 'prompt',
      injectRegister: false,
      // They are in globPatterns already.
      includeManifestIcons: false,
      manifest: {
        id: '/',
        name: 'Crownweir',
        short_name: 'Crownweir',
        description: 'Residential plumbing inspection that works without a signal',
        start_url: '/',
        scope: '/',
        display: 'standalone',
        background_color: '#f6f3ea',
        theme_color: '#16242c',
        icons: [
          { src: '/icon.svg', sizes: 'any', type: 'image/svg+xml', purpose: 'any' },
          { src: '/icon-192.png', sizes: '192x192', type: 'image/png', purpose: 'any' },
          { src: '/icon-512.png', sizes: '512x512', type: 'image/png', purpose: 'any' },
        ],
      },
      workbox: {
        globPatterns: ['**/*.{js,css,html,wasm,svg,png,webmanifest}'],
        // The default of 2 MiB would silently leave a grown core out.
        maximumFileSizeToCacheInBytes: 12 * 1024 * 1024,
        navigateFallback: '/index.html',
        navigateFallbackDenylist: [/^\/api\//, /^\/ws/, /^\/healthz/],
        cleanupOutdatedCaches: true,
        clientsClaim: true,
      },
    }),
  ],
});
