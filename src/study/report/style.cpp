// The page's look. Colours are named once, for light and for dark; a test computes their contrast.
#include "study/report/part.hpp"

namespace kurbel::study::report {

const char* style() noexcept {
    return R"css(
:root{--paper:#fbfaf6;--sheet:#ffffff;--ink:#1d2733;--soft:#4d5966;--line:#c9c4b8;--plum:#7a2650;--teal:#22575a;--warn:#fff3d6;--warnink:#4a3200}
@media (prefers-color-scheme:dark){:root{--paper:#161b21;--sheet:#1e252d;--ink:#ecebe6;--soft:#b4bcc6;--line:#46505c;--plum:#f0a6c8;--teal:#8fd0cf;--warn:#3a2f14;--warnink:#ffe9b8}}
*{box-sizing:border-box}
html{font:16px/1.5 "DejaVu Sans",Verdana,sans-serif;color:var(--ink);background:var(--paper);-webkit-text-size-adjust:100%}
body{margin:0 auto;max-width:66rem;padding:1.5rem 1.25rem 3rem}
h1,h2,h3{font-family:"DejaVu Serif",Georgia,serif;line-height:1.25;margin:0}
h1{font-size:1.9rem}
h2{font-size:1.35rem}
h3{font-size:1rem;margin:1.4rem 0 .4rem}
header{border-bottom:4px double var(--ink);padding-bottom:.8rem;margin-bottom:1.4rem}
header p{margin:.3rem 0 0;color:var(--soft)}
ol.short{list-style:none;margin:.6rem 0 0;padding:0;border-top:1px solid var(--line)}
ol.short li{display:grid;grid-template-columns:11.5rem 1fr;gap:.2rem 1rem;padding:.7rem 0;border-bottom:1px solid var(--line)}
a{color:var(--teal)}
.tag{display:inline-block;border:2px solid currentColor;padding:.05rem .55rem;font-weight:bold;white-space:nowrap}
.tag.fault{color:var(--plum);border-style:double;border-width:4px}
.tag.clear{color:var(--teal)}
.tag.open{color:var(--soft);border-style:dashed}
.tag.finding{color:var(--ink)}
section.part{background:var(--sheet);border:1px solid var(--line);padding:1.2rem 1.25rem;margin-top:1.6rem}
.where{color:var(--soft);margin:.2rem 0 .8rem;overflow-wrap:anywhere}
.verdict{font-size:1.12rem;margin:.6rem 0 1rem}
.verdict .tag{margin-right:.5rem}
.wide{overflow-x:auto;margin:.6rem 0}
.wide:focus-visible{outline:3px solid var(--teal)}
img{display:block;width:100%;min-width:46rem;height:auto;background:#fff;border:1px solid var(--line)}
table{border-collapse:collapse;font-size:.9rem;min-width:100%;font-variant-numeric:tabular-nums}
caption{text-align:left;font-weight:bold;padding:.3rem 0}
th,td{text-align:left;padding:.28rem .7rem .28rem 0;border-bottom:1px solid var(--line);vertical-align:top}
tbody th,tbody td{white-space:nowrap}thead th{border-bottom:2px solid var(--ink)}
.bar{display:block}.bar .fill{fill:var(--plum)}.bar .reach{stroke:var(--ink);stroke-width:1.5;fill:none}
dl.terms{display:grid;grid-template-columns:repeat(auto-fill,minmax(15rem,1fr));gap:.5rem 1.4rem;margin:.8rem 0;font-size:.9rem}
dl.terms dt{color:var(--soft)}dl.terms dd{margin:0;overflow-wrap:anywhere}
.listed{font-weight:bold;margin:1rem 0 .2rem;font-size:.9rem}
ul.prose{margin:.2rem 0;padding-left:1.2rem;font-size:.95rem}ul.prose li{margin:.35rem 0}
.aside{color:var(--soft);font-size:.85rem;margin:.3rem 0}
.care{background:var(--warn);color:var(--warnink);border:1px solid currentColor;border-left:.6rem solid currentColor;padding:.7rem 1rem;margin-top:1.2rem}
.care h3{margin:0 0 .3rem}.care ul{margin:0;padding-left:1.2rem}.care a{color:inherit}
.sign{display:none}
@media (max-width:40rem){body{padding:1rem .8rem 2rem}h1{font-size:1.5rem}ol.short li{grid-template-columns:1fr}section.part{padding:1rem .8rem}}
@page{size:A4;margin:15mm 14mm}
@media print{
:root{--paper:#fff;--sheet:#fff;--ink:#000;--soft:#3c444d;--line:#999;--plum:#7a2650;--teal:#22575a;--warn:#fff;--warnink:#000}
html{font-size:10.5pt}body{max-width:none;padding:0}
section.part{border:0;border-top:2px solid #000;padding:.8rem 0 0}
h1,h2,h3,caption,.listed,.where,.verdict{break-after:avoid}
figure,img,.care,tr,li,ol.short li,dl.terms div{break-inside:avoid}
.wide{overflow:visible}img{min-width:0;max-height:225mm;object-fit:contain}
table{font-size:7.5pt;min-width:0;width:100%}th,td{padding-right:.35rem}tbody th,tbody td{white-space:normal}thead{display:table-header-group}
a{color:inherit;text-decoration:none}
.sign{display:grid;grid-template-columns:1fr 1fr;gap:1.6rem 2rem;margin-top:2rem;break-inside:avoid}
.sign span{border-bottom:1px solid #000;min-height:1.8rem}}
)css";
}

}  // namespace kurbel::study::report
