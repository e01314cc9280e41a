import '../style/tokens.css';
import '../style/base.css';
import { mount } from 'svelte';
import App from './App.svelte';
import { station } from '../station/station.svelte';
import './theme.svelte';

const target = document.getElementById('app');
if (!target) throw new Error('index.html has no #app');
mount(App, { target });
station.start();
