"""How the app looks: what Streamlit's theme cannot say. Read at arm's length, touched with greasy fingers:
nothing to press is lower than TOUCH."""

TOUCH = "3rem"  # 51 px; WCAG 2.1, 2.5.5 asks 44

STYLE = f"""<style>
.block-container {{padding-top: 4rem; padding-bottom: 4rem; max-width: 54rem;}}
[data-testid="stMainBlockContainer"] > [data-testid="stVerticalBlock"] {{gap: .8rem;}}
h1 {{padding: .4rem 0 .2rem;}} h2 {{padding: 1.4rem 0 .2rem;}} h3 {{padding: .8rem 0 0;}}
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] p {{color: #505A64; opacity: 1;}}
[data-testid="stExpandSidebarButton"] {{min-height: {TOUCH}; min-width: 6rem; border: 1px solid #0072B2;}}
[data-testid="stExpandSidebarButton"]::after {{content: "Menu"; font-size: 1rem; color: #1F2328;}}
[data-testid="stSidebarNavLink"] {{min-height: {TOUCH}; font-size: 1.1rem;}}
[data-testid="stTopNavLink"] {{min-height: 2.75rem;}}
.stButton button, .stDownloadButton button, .stFormSubmitButton button, [data-testid="stPopover"] button,
[data-testid="stFileUploader"] button, [data-testid="stButtonGroup"] button,
[data-testid="stExpander"] summary, [data-testid="stTextInputRootElement"],
[data-testid="stNumberInputContainer"], [data-testid="stSelectbox"] [role="group"],
[data-testid="stRadio"] label, [data-testid="stCheckbox"] label {{min-height: {TOUCH};}}
[data-testid="stTextInputRootElement"] input, [data-testid="stNumberInputContainer"] input,
[data-testid="stSelectbox"] input, [data-testid="stSelectbox"] button {{min-height: 2.75rem;}}
[data-testid="stNumberInput"] button, [data-testid="stButtonGroup"] button {{min-width: {TOUCH};}}
[data-testid="stFileUploader"] button, [data-testid="stBaseButton-elementToolbar"],
[data-testid="stToast"] button, [data-testid="stSelectbox"] button[aria-label*="lear"]
  {{min-width: {TOUCH}; min-height: {TOUCH}; justify-content: center;}}
[data-testid="stRadio"] label, [data-testid="stCheckbox"] label {{align-items: center;}}
a:focus-visible, button:focus-visible, summary:focus-visible {{outline: 3px solid #D55E00 !important;}}
[data-testid="stMain"]:focus-visible {{outline: 3px solid #D55E00 !important; outline-offset: -3px;}}
[data-testid="stPageLink"] a {{min-height: {TOUCH}; padding: 0 1rem; border: 1px solid #0072B2;}}
[data-testid="stPageLink"] a {{border-radius: .5rem;}}
[class*="st-key-main-step"] [data-testid="stPageLink"] a {{background: #0072B2;}}
[class*="st-key-main-step"] [data-testid="stPageLink"] a * {{color: #FFFFFF;}}
[data-testid="stMarkdownContainer"] :is(p, li) {{text-wrap: pretty;}}
[data-testid="stAlert"] p, [data-testid="stAlert"] li {{color: #1F2328;}}
[data-testid="stAlert"] ul {{margin: 0 0 .5rem; padding-left: .9rem;}}
[data-testid="stAlert"] li {{margin: .15rem 0; padding: 0;}}
[data-testid="stAlert"] h3 {{padding: 0;}} [data-testid="stHeaderActionElements"] {{display: none;}}
[data-testid="stToastContainer"] {{top: auto !important; bottom: 1rem;}}
body:not(.scrolled-down) [data-testid="stToastContainer"] {{display: none;}}
.st-key-answer p {{font-size: 1.35rem; line-height: 1.35;}}
.st-key-next {{background: #EAF4FB; border-color: #0072B2;}}
.st-key-unseen, :has(> .st-key-scripts), :has(> .st-key-turning) {{display: none;}}
[data-testid="stElementContainer"]:has(> * > [data-testid="stPlotlyChart"]) {{box-sizing: content-box;
  padding-top: 44px; overflow: visible;}}
.js-plotly-plot {{overflow: visible !important;}}
.js-plotly-plot .plotly .modebar-container {{top: -44px !important;}}
.js-plotly-plot .plotly .modebar-btn {{width: 44px; height: 44px; padding: 12px !important;}}
.st-key-next [data-testid="stAlert"] ul {{columns: 2; column-gap: 1.5rem;}}
</style>"""

# Another page begins at its top, and a menu that lies over it goes: Streamlit keeps the place that the last
# one was scrolled to, and leaves the menu open. The number makes it another script: the browser runs each
# once.
TO_THE_TOP = """<script>/* {} */ document.querySelector('[data-testid="stMain"]').scrollTo(0, 0);
var menu = document.querySelector('[data-testid="stSidebar"]');
if (innerWidth < 768 && menu?.getBoundingClientRect().right > 0)
  document.querySelector('[data-testid="stSidebarCollapseButton"] button')?.click();</script>"""


# What was done is told in a box on top of the page; where that is out of sight, a note at the foot of the
# screen tells it in the box's stead, and never both.
TOLD_ONCE = """<script>window.tellsOnce ??= (document.addEventListener('scroll', event => {
  const main = event.target;
  if (main.dataset?.testid === 'stMain') document.body.classList.toggle('scrolled-down', main.scrollTop > 64);
}, true), true);</script>"""

# What is typed is kept when its box is left, or Enter is pressed in it; a page that is loaded anew in between
# loses it. So a pause in typing counts as that press: nothing is lost but the last PAUSE. Forms are sent by
# their own button, and boxes to choose from open at that key.
PAUSE_MS = 1500
KEEP_WHILE_TYPING = f"""<script>window.keepsWhileTyping ??= (document.addEventListener('input', event => {{
  const box = event.target;
  if (!box.matches('textarea, input[type="text"]:not([role])') || box.closest('form')) return;
  clearTimeout(box.pause);
  const press = kind => new KeyboardEvent(kind, {{key: 'Enter', keyCode: 13, ctrlKey: true, bubbles: true}});
  box.pause = setTimeout(() => {{
    for (const kind of ['keydown', 'keypress']) box.dispatchEvent(press(kind)); }}, {PAUSE_MS});
}}), true);</script>"""
