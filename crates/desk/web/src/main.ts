import '@fontsource-variable/newsreader/wght.css';
import '@fontsource-variable/newsreader/wght-italic.css';
import '@fontsource-variable/source-sans-3/wght.css';
import './styles.css';
import { mount } from 'svelte';
import App from './App.svelte';

// The key has become a cookie: it need not stand in the history.
if (location.search) history.replaceState(null, '', `${location.pathname}${location.hash}`);

const target = document.getElementById('desk');
if (target) mount(App, { target });
