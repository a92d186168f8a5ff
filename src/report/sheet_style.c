/*
 * How the page looks: a leaf of a flock book. A wide left margin with a notched ear for each part,
 * thin rules, one dark red (raddle, what sheep are marked with) that is never alone in saying
 * something. Light on paper, dark on a screen that asks for it. System fonts only.
 */
#include "report/sheet_html.h"

const char *const lm_sheet_style[] = {
    /* colours and paper */
    ":root{--ink:#161310;--paper:#fffdf8;--soft:#6a6259;--rule:#bdb4a6;--bar:#d8cfc0;"
    "--band:#e9e2d5;--raddle:#7d1f12;color-scheme:light dark}\n"
    "@media screen and (prefers-color-scheme:dark){:root{--ink:#f3ecdf;--paper:#171411;"
    "--soft:#b9ae9f;--rule:#544c42;--bar:#5d5448;--band:#39332b;--raddle:#ff9c84}}\n"
    "@page{size:auto;margin:14mm 13mm 15mm}\n"
    "*{box-sizing:border-box}\n",
    /* the leaf and its margin */
    "body{margin:0 auto;padding:1.2rem 1rem 3rem;max-width:52rem;color:var(--ink);"
    "background:var(--paper);font:1rem/1.42 system-ui,sans-serif;"
    "font-variant-numeric:tabular-nums;overflow-wrap:break-word}\n"
    "h1,h2{font-family:Georgia,\"Times New Roman\",serif;font-weight:700;line-height:1.15}\n"
    "h1{font-size:1.95rem;margin:.1rem 0 .5rem}h2{font-size:1.22rem;margin:0 0 .45rem}"
    "h3{font-size:.95rem;margin:.9rem 0 .2rem}p{margin:.3rem 0}\n"
    "header,section,footer{position:relative;padding-left:5.6rem}\n"
    "header{border-bottom:3px solid var(--ink);padding-bottom:.7rem}header .ear{top:.1rem}\n"
    "section,footer{border-top:1px solid var(--rule);padding-top:.85rem;padding-bottom:.3rem;"
    "margin-top:.7rem}"
    "header+section{border-top:0;margin-top:0}\n"
    ".ear{width:4.4rem;position:absolute;left:0;top:.75rem}.ear path{fill:var(--ink)}"
    ".ear .fold{fill:none;stroke:var(--paper);stroke-width:1.6;stroke-linecap:round}\n"
    ".holding{margin:0;color:var(--soft);font-size:.95rem}\n"
    "dl{display:grid;grid-template-columns:max-content minmax(0,1fr);gap:.08rem 1rem;margin:0}"
    "dt{color:var(--soft)}dd{margin:0}\n"
    ".lead{font-size:1.06rem;margin:.5rem 0}\n",
    /* tables and lists */
    "table{border-collapse:collapse;width:100%;font-size:.93rem}"
    "th,td{text-align:left;vertical-align:top;padding:.16rem .7rem .16rem 0;"
    "border-bottom:1px solid var(--rule)}"
    "th{font-weight:600;border-bottom:1.5px solid var(--ink);white-space:nowrap}"
    "td.n,th.n{text-align:right;white-space:nowrap}td.tick{width:2.2rem}"
    "td.tick i{display:block;width:.95rem;height:.95rem;border:1.2px solid var(--ink);"
    "margin-top:.12rem}"
    "tr.nil td{color:var(--soft)}thead{display:table-header-group}tr{break-inside:avoid}\n"
    "td{overflow-wrap:anywhere}td.key{font-weight:600}td.word,td.code{overflow-wrap:normal}.word{"
    "font-weight:700}.word.hold{color:var(--raddle)}\n"
    "ol.said{list-style:none;margin:0;padding:0}ol.said>li{break-inside:avoid;"
    "margin:0 0 .75rem;display:grid;grid-template-columns:4.4rem minmax(0,1fr)}"
    ".sure{font:700 1.25rem/1.1 Georgia,serif}.sure small{display:block;font:400 .8rem/1.3 "
    "system-ui,sans-serif;color:var(--soft)}"
    "ol.said ul{margin:.1rem 0;padding-left:1.1rem;font-size:.93rem}"
    "code{font:.86rem/1.4 ui-monospace,monospace;border-left:3px solid var(--rule);"
    "padding-left:.5rem;display:block}\n",
    /* pictures */
    "figure{margin:0 0 .9rem;break-inside:avoid}figure svg{width:100%;height:auto;display:block}"
    "figcaption,.more,.none{font-size:.9rem;color:var(--soft);margin:.15rem 0}"
    ".patterns{position:absolute}\n"
    "text{font:13px system-ui,sans-serif;fill:var(--ink);font-variant-numeric:tabular-nums}"
    "text.unit{fill:var(--soft)}text.figure{font:700 27px Georgia,serif}text.name{font-size:16px}"
    "text.name.small{font-size:13px;font-weight:600}\n"
    ".axis{stroke:var(--ink);stroke-width:1.2}.grid{stroke:var(--rule);stroke-width:.6}"
    ".bar{fill:var(--bar);stroke:var(--ink);stroke-width:.7}.bar.slanted{fill:url(#slant)}"
    ".bar.dark{fill:var(--raddle)}.under{fill:var(--paper)}"
    ".thread{stroke:var(--ink);stroke-width:2.2}"
    ".look{fill:var(--paper);stroke:var(--ink);stroke-width:1.6}"
    ".hold{fill:var(--raddle);stroke:var(--ink);stroke-width:.7}"
    ".shape{fill:none;stroke:var(--ink);stroke-width:1.7;stroke-linejoin:round}"
    ".span{stroke:var(--ink);stroke-width:1.8}.point{fill:var(--ink)}"
    ".band{fill:var(--band);stroke:var(--rule);stroke-width:.6}"
    ".curve{fill:none;stroke:var(--ink);stroke-width:2.2}\n",
    /* room to sign, small screens, paper */
    ".sign{display:grid;grid-template-columns:1fr 1fr;gap:0 "
    "1.6rem;break-inside:avoid;margin-top:2.6rem}"
    ".sign div{border-top:1.2px solid var(--ink);padding-top:.15rem;"
    "margin-bottom:2rem;font-size:.88rem;color:var(--soft)}\n"
    ".small{font-size:.88rem}.small ul{margin:.2rem 0;padding-left:1.1rem}\n"
    "@media (max-width:36rem){header,section,footer{padding-left:0}"
    ".ear{position:static;width:3.4rem;margin-bottom:.3rem}table,figure{display:block;overflow-x:"
    "auto}"
    "figure svg{min-width:32rem}}\n"
    "@media print{html{font-size:10.4pt}body{max-width:none;padding:0;background:none}"
    "h2,h3{break-after:avoid}p{orphans:3;widows:3}.newpage{break-before:page;border-top:0;"
    "margin-top:0;padding-top:0}.newpage "
    ".ear{top:0}*{print-color-adjust:exact;-webkit-print-color-adjust:exact}}\n",
    NULL,
};
