import { svelte } from '@sveltejs/vite-plugin-svelte';
import { defineConfig } from 'vite';

export default defineConfig({
  plugins: [svelte()],
  // The server's policy allows no inline assets but images; files under assets/ are named by their content.
  build: { target: 'es2022', assetsInlineLimit: 0, modulePreload: { polyfill: false }, reportCompressedSize: false },
});
