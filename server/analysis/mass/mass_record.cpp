#include "server/analysis/mass/mass_record.hpp"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <functional>

#include <fmt/format.h>

#include "server/analysis/mass/csv.hpp"

namespace turnstone::analysis {

namespace {

/// What a column takes, and where it goes.
struct MassColumn {
    std::string_view name;
    std::string Weighing::*text = nullptr;
    double Weighing::*number = nullptr;
    double least = 0, most = 0; ///< of the number, both included
    bool required = false;
};

constexpr double kMassMax_kg = 1e5;
constexpr double kLengthMax_m = 1e3;
constexpr double kInertiaMax_kg_m2 = 1e9;

constexpr MassColumn kColumns[] = {
    {.name = "part", .text = &Weighing::part, .required = true},
    {.name = "like", .text = &Weighing::like},
    {.name = "burns"},
    {.name = "target_kg", .number = &Weighing::target_kg, .most = kMassMax_kg},
    {.name = "mass_kg", .number = &Weighing::mass_kg, .most = kMassMax_kg, .required = true},
    {.name = "mass_sigma_kg", .number = &Weighing::mass_sigma_kg, .most = kMassMax_kg},
    {.name = "station_m", .number = &Weighing::station_m, .least = -kLengthMax_m, .most = kLengthMax_m},
    {.name = "station_sigma_m", .number = &Weighing::station_sigma_m, .most = kLengthMax_m},
    {.name = "off_axis_y_m", .number = &Weighing::off_axis_y_m, .least = -kLengthMax_m, .most = kLengthMax_m},
    {.name = "off_axis_z_m", .number = &Weighing::off_axis_z_m, .least = -kLengthMax_m, .most = kLengthMax_m},
    {.name = "roll_inertia_kg_m2", .number = &Weighing::roll_inertia_kg_m2, .most = kInertiaMax_kg_m2},
    {.name = "pitch_inertia_kg_m2", .number = &Weighing::pitch_inertia_kg_m2, .most = kInertiaMax_kg_m2},
    {.name = "pitch_inertia_sigma_kg_m2", .number = &Weighing::pitch_inertia_sigma_kg_m2, .most = kInertiaMax_kg_m2},
    {.name = "weighed_on", .text = &Weighing::weighed_on},
    {.name = "note", .text = &Weighing::note},
};

const MassColumn* column_named(std::string_view name) {
    const auto* column = std::ranges::find(kColumns, name, &MassColumn::name);
    return column == std::end(kColumns) ? nullptr : column;
}

std::string all_names() {
    std::string names;
    for (const MassColumn& column : kColumns) names += (names.empty() ? "" : ", ") + std::string(column.name);
    return names;
}

std::optional<double> number_of(const std::string& cell) {
    double value = 0;
    const char* end = cell.data() + cell.size();
    const auto [stopped, error] = std::from_chars(cell.data(), end, value);
    if (error != std::errc{} || stopped != end || !std::isfinite(value)) return std::nullopt;
    return value;
}

bool is_date(const std::string& text) {
    if (text.size() != 10 || text[4] != '-' || text[7] != '-') return false;
    for (std::size_t i = 0; i < text.size(); ++i)
        if (i != 4 && i != 7 && (text[i] < '0' || text[i] > '9')) return false;
    return std::chrono::year_month_day(std::chrono::year(std::stoi(text.substr(0, 4))),
                                       std::chrono::month(static_cast<unsigned>(std::stoi(text.substr(5, 2)))),
                                       std::chrono::day(static_cast<unsigned>(std::stoi(text.substr(8, 2)))))
        .ok();
}

/// What is wrong with a text; empty: nothing.
std::string text_mistake(const std::string& text) {
    if (text.size() > kMassTextMax) return "is longer than " + std::to_string(kMassTextMax) + " bytes";
    if (std::ranges::any_of(text, [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; }))
        return "has a control character or a line end in it";
    if (!text.empty() && std::string_view("=+-@").find(text.front()) != std::string_view::npos)
        return fmt::format("begins with {}, which a spreadsheet takes for a formula", text.front());
    return {};
}

class MassReader {
  public:
    MassReader(const std::string& file, std::vector<Problem>& problems) : file_(file), problems_(problems) {}

    std::vector<Weighing> read(const std::vector<CsvRow>& rows) {
        std::vector<Weighing> weighings;
        if (rows.empty() || !read_header(rows.front())) return weighings;
        if (rows.size() > kWeighingsMax + 1) {
            problems_.push_back({file_, "", fmt::format("has more than {} lines", kWeighingsMax), "divide it"});
            return weighings;
        }
        for (std::size_t i = 1; i < rows.size(); ++i) weighings.push_back(read_row(rows[i]));
        return weighings;
    }

  private:
    void mistake(std::size_t line, std::string_view column, std::string wrong, std::string right) {
        problems_.push_back({file_, fmt::format("line {}{}{}", line, column.empty() ? "" : ", ", column),
                             std::move(wrong), std::move(right)});
    }

    bool read_header(const CsvRow& header) {
        const std::size_t before = problems_.size();
        for (const std::string& cell : header.cells) {
            const MassColumn* column = column_named(cell);
            if (column == nullptr)
                mistake(header.line, "", fmt::format("has the column \"{}\"", cell.substr(0, kMassTextMax)),
                        "the columns are " + all_names());
            else if (std::ranges::find(columns_, column) != columns_.end())
                mistake(header.line, column->name, "appears twice", "name each column once");
            columns_.push_back(column);
        }
        for (const MassColumn& column : kColumns)
            if (column.required && std::ranges::find(columns_, &column) == columns_.end())
                mistake(header.line, column.name, "is missing", "the first line names the columns");
        return problems_.size() == before;
    }

    Weighing read_row(const CsvRow& row) {
        Weighing weighing;
        if (row.cells.size() != columns_.size()) {
            mistake(row.line, "", fmt::format("has {} cells", row.cells.size()),
                    fmt::format("expected {}, as in the first line", columns_.size()));
            return weighing;
        }
        for (std::size_t i = 0; i < columns_.size(); ++i) read_cell(row.line, *columns_[i], row.cells[i], weighing);
        if (weighing.part.empty()) mistake(row.line, "part", "is empty", "name the part");
        if (!weighing.weighed_on.empty() && !is_date(weighing.weighed_on))
            mistake(row.line, "weighed_on", "is not a date", "write it as 2026-05-17");
        if (std::isnan(weighing.mass_kg) && std::isnan(weighing.target_kg))
            mistake(row.line, "mass_kg", "is empty, and so is target_kg", "give what it weighs, or what it may weigh");
        return weighing;
    }

    void read_cell(std::size_t line, const MassColumn& column, const std::string& cell, Weighing& weighing) {
        if (column.text != nullptr) {
            if (std::string wrong = text_mistake(cell); !wrong.empty())
                mistake(line, column.name, std::move(wrong), "write it as plain text");
            weighing.*column.text = cell;
        } else if (column.number == nullptr) {
            if (cell != "yes" && cell != "no" && !cell.empty())
                mistake(line, column.name, "is not yes or no", "yes for propellant, else no or empty");
            weighing.burns = cell == "yes";
        } else if (!cell.empty()) {
            const auto number = number_of(cell);
            if (!number || *number < column.least || *number > column.most)
                mistake(line, column.name, "is not a number in its range",
                        fmt::format("expected {} to {}, with a point, without a unit", column.least, column.most));
            else
                weighing.*column.number = *number;
        }
    }

    const std::string& file_;
    std::vector<Problem>& problems_;
    std::vector<const MassColumn*> columns_;
};

} // namespace

std::optional<std::vector<Weighing>> read_mass_csv(std::string_view text, const std::string& file,
                                                   std::vector<Problem>& problems) {
    const std::size_t before = problems.size();
    const auto rows = read_csv(text);
    if (!rows) {
        problems.push_back({file, "", rows.error().message, "comma-separated values after RFC 4180"});
        return std::nullopt;
    }
    if (rows->empty()) problems.push_back({file, "", "is empty", "the first line names the columns: " + all_names()});
    auto weighings = MassReader(file, problems).read(*rows);
    return problems.size() == before ? std::optional(std::move(weighings)) : std::nullopt;
}

std::string write_mass_csv(const std::vector<Weighing>& weighings) {
    std::vector<std::string> cells;
    for (const MassColumn& column : kColumns) cells.emplace_back(column.name);
    std::string text = csv_line(cells);
    for (const Weighing& weighing : weighings) {
        cells.clear();
        for (const MassColumn& column : kColumns)
            if (column.text != nullptr)
                cells.push_back(weighing.*column.text);
            else if (column.number == nullptr)
                cells.emplace_back(weighing.burns ? "yes" : "");
            else
                cells.push_back(std::isnan(weighing.*column.number) ? "" : fmt::format("{}", weighing.*column.number));
        text += csv_line(cells);
    }
    return text;
}

} // namespace turnstone::analysis
