#include "server/analysis/mass/csv.hpp"

#include <utility>

namespace turnstone {

namespace {

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";

/// Reads cell by cell.
class CsvReader {
  public:
    explicit CsvReader(std::string_view text) : text_(text) {}

    Result<std::vector<CsvRow>> rows() {
        std::vector<CsvRow> rows;
        std::size_t cells = 0;
        while (at_ < text_.size()) {
            CsvRow row{line_, {}};
            do {
                if (++cells > kCsvCellsMax)
                    return fail("line " + std::to_string(line_) + ": more than " + std::to_string(kCsvCellsMax) +
                                " cells; divide the file");
                auto cell = at_ < text_.size() && text_[at_] == '"' ? quoted() : plain();
                if (!cell) return tl::unexpected(cell.error());
                row.cells.push_back(std::move(*cell));
            } while (take(','));
            line_end();
            if (row.cells.size() > 1 || !row.cells.front().empty()) rows.push_back(std::move(row));
        }
        return rows;
    }

  private:
    [[nodiscard]] bool take(char expected) {
        if (at_ >= text_.size() || text_[at_] != expected) return false;
        ++at_;
        return true;
    }
    [[nodiscard]] bool at_line_end() const {
        return at_ >= text_.size() || text_[at_] == '\n' || text_.substr(at_, 2) == "\r\n";
    }
    void line_end() {
        if (text_.substr(at_, 2) == "\r\n") ++at_;
        ++at_;
        ++line_;
    }
    Result<std::string> plain() {
        const std::size_t begin = at_;
        while (!at_line_end() && text_[at_] != ',') {
            if (text_[at_] == '"')
                return fail("line " + std::to_string(line_) +
                            ": a quote within a cell; quote the whole cell and double the quote");
            ++at_;
        }
        return std::string(text_.substr(begin, at_ - begin));
    }
    Result<std::string> quoted() {
        const std::size_t first_line = line_;
        std::string cell;
        for (++at_; at_ < text_.size(); ++at_) {
            if (text_[at_] != '"') {
                line_ += text_[at_] == '\n';
                cell += text_[at_];
            } else if (text_.substr(at_, 2) == "\"\"") {
                cell += text_[at_++];
            } else {
                ++at_;
                if (!at_line_end() && text_[at_] != ',')
                    return fail("line " + std::to_string(line_) + ": text after the closing quote of a cell");
                return cell;
            }
        }
        return fail("line " + std::to_string(first_line) + ": a quoted cell that is never closed");
    }

    std::string_view text_;
    std::size_t at_ = text_.starts_with(kByteOrderMark) ? kByteOrderMark.size() : 0;
    std::size_t line_ = 1;
};

} // namespace

Result<std::vector<CsvRow>> read_csv(std::string_view text) {
    return CsvReader(text).rows();
}

std::string csv_line(const std::vector<std::string>& cells) {
    std::string line;
    for (const std::string& cell : cells) {
        if (&cell != &cells.front()) line += ',';
        if (cell.find_first_of(",\"\r\n") == std::string::npos) {
            line += cell;
            continue;
        }
        line += '"';
        for (const char c : cell) line += c == '"' ? std::string("\"\"") : std::string(1, c);
        line += '"';
    }
    return line + "\r\n";
}

} // namespace turnstone
