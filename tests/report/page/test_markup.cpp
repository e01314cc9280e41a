// Text on a page stays text.
#include <catch2/catch.hpp>

#include <string>

#include "server/report/page/markup.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"

using namespace turnstone::report;

TEST_CASE("text is escaped, and what cannot be shown is replaced") {
    struct Case {
        std::string text;
        std::string html;
    };
    const Case cases[] = {
        {"18.6 ± 0.5 ms", "18.6 ± 0.5 ms"},
        {"<script>alert(1)</script>", "&lt;script&gt;alert(1)&lt;/script&gt;"},
        {"\" onload='x' & y", "&quot; onload=&#39;x&#39; &amp; y"},
        {"</style></title>", "&lt;/style&gt;&lt;/title&gt;"},
        {std::string("a\0b", 3), "a\uFFFDb"},
        {"\x1b[2J\x7f", "\uFFFD[2J\uFFFD"},
        {"\xff\xc0\xaf", "\uFFFD\uFFFD\uFFFD"},
        {"a\u202Eb\u2066c\u2069", "a\uFFFDb\uFFFDc\uFFFD"},
        {"two\nlines", "two\nlines"},
        {"\u2028 \u00e9", "\u2028 \u00e9"},
    };
    for (const Case& one : cases) CHECK(Markup::text(one.text).html() == one.html);
}

TEST_CASE("elements, tables and pages hold escaped text alone") {
    CHECK(element("td.n", "<b>").html() == "<td class=\"n\">&lt;b&gt;</td>");
    CHECK(element("p", element("b", "x")).html() == "<p><b>x</b></p>");
    LedgerTable table({{"<i>", false}, {"n", true}});
    table.row({Markup::text("&"), Markup::text("1")});
    table.row({Markup::text("short")});
    table.marked_row({});
    const std::string html = table.markup(2).html();
    CHECK_THAT(html, Catch::Contains("&lt;i&gt;") && Catch::Contains("<td>&amp;</td><td class=\"n\">1</td>") &&
                         Catch::Contains("1 more, in the recording") && !Catch::Contains("marked"));
    const std::string page =
        page_html({"Flight report", "</title><script>", "\" x", "today", "<say>"}, chapter("<h>", {}));
    CHECK_THAT(page, !Catch::Contains("<script") && !Catch::Contains("<say>") && !Catch::Contains("<h>") &&
                         Catch::Contains("--series-1: #") && Catch::Contains("@page") &&
                         !Catch::Contains("data-theme='dark'"));
    // Nothing comes from elsewhere.
    for (const char* fetched : {"http://", "https://", "src=", "<link", "@import", "url(h"})
        CHECK(page.find(fetched) == std::string::npos);
}
