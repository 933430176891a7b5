// Talks to the page's own server: calls with answers bit by bit, and files on their way in.

const TOKEN = 'irpreview-session';
let token = localStorage.getItem(TOKEN);

export const keep_token = (given) => {
  token = given;
  localStorage.setItem(TOKEN, given);
};
export const kept_token = () => token;

const LOST = 'The page has lost its program. Is it still running?';

// While anything is under way the page can be told to stop it.
let under_way = 0;
const busy = async (work) => {
  under_way += 1;
  document.body.classList.add('busy');
  try { return await work; } finally {
    under_way -= 1;
    document.body.classList.toggle('busy', under_way > 0);
  }
};

// Calls one handler; `each` is given every part of the answer as it comes. Resolves when all of it is there.
export const call = (name, data, each) => name === 'stop' ? answers(name, data, each) : busy(answers(name, data, each));
const answers = async (name, data, each) => {
  let answer;
  try {
    const asked = await fetch(`/gradio_api/call/${name}`, {
      method: 'POST', headers: {'content-type': 'application/json'}, body: JSON.stringify({data: [{...data, token}]}),
    });
    if (!asked.ok) throw new Error(await asked.text());
    answer = await fetch(`/gradio_api/call/${name}/${(await asked.json()).event_id}`);
  } catch {
    each({status: LOST, sorry: true});
    return;
  }
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let text = '', parts = 0;
  for (;;) {
    const {done, value} = await reader.read().catch(() => ({done: true}));
    if (done) return;
    text += value;
    for (let end = text.indexOf('\n\n'); end >= 0; end = text.indexOf('\n\n')) {
      const block = text.slice(0, end);
      text = text.slice(end + 2);
      const kind = /^event: (.*)$/m.exec(block)?.[1], sent = /^data: (.*)$/m.exec(block)?.[1];
      if (kind === 'error') each({status: 'That did not work; try it again.', sorry: true});
      // the last part comes a second time when all is done
      if (kind === 'generating' || (kind === 'complete' && parts === 0)) {
        parts += 1;
        each(JSON.parse(sent)[0] ?? {});
      }
    }
  }
};

// Sends one file; resolves to its number, or fails with a sentence. `news(text)` is told how far it is.
let sending = null;
export const stop_sending = () => sending?.abort();
export const send = (file, news) => busy(new Promise((done, fail) => {
  const {upload, limitMb} = document.body.dataset;
  const mb = file.size / 1048576;
  if (mb > Number(limitMb)) {
    fail(`${file.name} has ${Math.ceil(mb)} MB; one file may have ${limitMb}.`);
    return;
  }
  const ask = new XMLHttpRequest();
  ask.open('POST', upload);
  ask.setRequestHeader('content-type', 'application/octet-stream');
  ask.setRequestHeader('x-file-name', encodeURIComponent(file.name));
  ask.upload.onprogress = (event) => {
    if (event.lengthComputable) news(`${file.name}: ${Math.round(100 * event.loaded / event.total)} % here.`);
  };
  ask.onload = () => {
    if (ask.status === 200) done(JSON.parse(ask.responseText).given);
    else fail(`${file.name}: ${ask.responseText || 'it was refused.'}`);
  };
  ask.onerror = () => fail(`${file.name}: ${LOST}`);
  ask.onabort = () => fail(`${file.name} was not sent.`);
  sending = ask;
  ask.send(file);
}));
