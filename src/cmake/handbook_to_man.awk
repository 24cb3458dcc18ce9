# SPDX-License-Identifier: MIT
# awk -v version=0.1.0 -v date=… -f handbook_to_man.awk data/handbook.md: the handbook as emberline-handbook(7).
# It knows what the handbook uses: headings, paragraphs, lists, tables, blocks of code, and words marked `so` or **so**.
function inline(text,   out, i, c, bold, italic) {
    gsub(/\\/, "\\e", text)
    while (match(text, /\[[^]]*\]\([^)]*\)/)) {
        c = substr(text, RSTART, RLENGTH)
        sub(/\].*/, "", c)
        text = substr(text, 1, RSTART - 1) substr(c, 2) substr(text, RSTART + RLENGTH)
    }
    gsub(/\*\*/, "`", text)
    out = ""
    for (i = 1; i <= length(text); ++i) {
        c = substr(text, i, 1)
        if (c == "`") { out = out (bold ? "\\fR" : "\\fB"); bold = !bold }
        else if (c == "*" && !bold) { out = out (italic ? "\\fR" : "\\fI"); italic = !italic }
        else if (c == "-") out = out "\\-"
        else out = out c
    }
    return guarded(out)
}
function guarded(text) { return text ~ /^[.']/ ? "\\&" text : text }
function literal(text) { gsub(/\\/, "\\e", text); gsub(/-/, "\\-", text); return guarded(text) }
function end_block() {
    if (block) print ".fi\n.RE"
    block = 0
}
function start_block() {
    if (!block) print ".PP\n.RS 4\n.nf"
    block = 1
}
# A marked word may go on in the next line: a paragraph is one text.
function end_paragraph() {
    if (paragraph != "") print inline(paragraph)
    paragraph = ""
}
BEGIN {
    printf ".TH EMBERLINE\\-HANDBOOK 7 \"%s\" \"Emberline %s\" \"Emberline\"\n", date, version
    print ".SH NAME\nemberline\\-handbook \\- what Emberline does with the frames of a fading transient, and why"
    print ".SH DESCRIPTION"
}
/^```/ { end_paragraph(); if (code) { code = 0; end_block() } else { code = 1; start_block() } ; next }
code { print literal($0); next }
/^\|/ {
    end_paragraph()
    if ($0 ~ /^\|[-|: ]+\|$/) next
    start_block()
    gsub(/^\| *| *\|$/, ""); gsub(/ *\| */, "   "); gsub(/`/, "")
    print literal($0)
    next
}
block { end_block() }
/^# / { end_paragraph(); next }
/^## / { end_paragraph(); print ".SH " toupper(inline(substr($0, 4))); next }
/^$/ { end_paragraph(); print ".PP"; next }
/^- / { end_paragraph(); print ".IP \\(bu 2"; paragraph = substr($0, 3); next }
/^[0-9]+\. / { end_paragraph(); print ".IP " substr($0, 1, index($0, ".")) " 4"; paragraph = substr($0, index($0, " ") + 1); next }
{ sub(/^ +/, ""); paragraph = paragraph (paragraph == "" ? "" : " ") $0 }
END { end_paragraph(); end_block() }
