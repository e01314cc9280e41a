#pragma once
/// The page a report is printed on: one HTML file without scripts and without anything from elsewhere, for A4 and
/// Letter alike. Its colours are those of the dashboard's light theme.
#include <string>
#include <string_view>

#include "server/report/page/markup.hpp"

namespace turnstone::report {

struct PageHead {
    std::string kind;     ///< "Flight report"
    std::string vehicle;  ///< as its title reads
    std::string place;    ///< of the site
    std::string when;     ///< "2026-05-17, 14:32:05 UTC"
    std::string sentence; ///< what it comes to, in plain words
};

[[nodiscard]] std::string page_html(const PageHead& head, const Markup& body);

/// A chapter with its heading, which stays with what follows.
[[nodiscard]] Markup chapter(std::string_view title, const Markup& content);
/// The same, kept on one page as a whole.
[[nodiscard]] Markup kept_chapter(std::string_view title, const Markup& content);

} // namespace turnstone::report
