#include "server/report/page/page.hpp"

#include <fmt/format.h>

#include "server/report/page/page_style.hpp"

namespace turnstone::report {

namespace {

Markup headed(const PageHead& head) {
    return element(
        "header",
        joined({element("p.kind", head.kind), element("h1", head.vehicle),
                element("p.where", head.place + (head.place.empty() || head.when.empty() ? "" : " · ") + head.when),
                element("p.say", head.sentence)}));
}

} // namespace

std::string page_html(const PageHead& head, const Markup& body) {
    const Markup title = Markup::text(head.kind + ", " + head.vehicle + ", " + head.when);
    return fmt::format("<!doctype html>\n<html lang=\"en\" data-theme=\"light\">\n<head>\n<meta charset=\"utf-8\">\n"
                       "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{}</title>\n"
                       "<style>\n{}</style>\n</head>\n<body>\n{}\n<main>\n{}\n</main>\n</body>\n</html>\n",
                       title.html(), kPageStyle, headed(head).html(), body.html());
}

Markup chapter(std::string_view title, const Markup& content) {
    return element("section", element("h2", title) + content);
}

Markup kept_chapter(std::string_view title, const Markup& content) {
    return element("section.keep", element("h2", title) + content);
}

} // namespace turnstone::report
