#include "protocol/xtce/xml_tree.hpp"

#include <libxml/parser.h>
#include <libxml/tree.h>

namespace turnstone {

namespace {

std::string text_of(const xmlChar* text) {
    return text == nullptr ? "" : reinterpret_cast<const char*>(text);
}

std::string without_blanks(const std::string& text) {
    constexpr const char* kBlanks = " \t\r\n";
    const std::size_t from = text.find_first_not_of(kBlanks);
    return from == std::string::npos ? "" : text.substr(from, text.find_last_not_of(kBlanks) - from + 1);
}

} // namespace

std::optional<std::string> XmlElement::attribute(std::string_view name) const {
    const auto found = attributes_.find(name);
    if (found == attributes_.end()) return std::nullopt;
    found->second.is_read = true;
    return found->second.value;
}

std::string XmlElement::attribute(std::string_view name, std::string_view otherwise) const {
    return attribute(name).value_or(std::string(otherwise));
}

const XmlElement* XmlElement::child(std::string_view name) const {
    for (const auto& each : children_)
        if (each->name_ == name) {
            each->mark_read();
            return each.get();
        }
    return nullptr;
}

std::vector<const XmlElement*> XmlElement::children(std::string_view name) const {
    std::vector<const XmlElement*> out;
    for (const auto& each : children_)
        if (each->name_ == name) {
            each->mark_read();
            out.push_back(each.get());
        }
    return out;
}

std::vector<std::string> XmlElement::attributes_not_read() const {
    std::vector<std::string> out;
    for (const auto& [name, attribute] : attributes_)
        if (!attribute.is_read) out.push_back(name);
    return out;
}

class XmlReader {
  public:
    static std::unique_ptr<XmlElement> element(const xmlNode* node, std::size_t depth) {
        if (depth > kXmlDepthMax) return nullptr;
        auto out = std::make_unique<XmlElement>(text_of(node->name), xmlGetLineNo(node));
        for (const xmlAttr* each = node->properties; each != nullptr; each = each->next) {
            if (each->ns != nullptr) continue; // of the schema's instance, xml:base and the like
            xmlChar* const value = xmlNodeListGetString(node->doc, each->children, 1);
            out->attributes_[text_of(each->name)].value = text_of(value);
            xmlFree(value);
        }
        for (const xmlNode* each = node->children; each != nullptr; each = each->next) {
            if (each->type == XML_TEXT_NODE || each->type == XML_CDATA_SECTION_NODE)
                out->text_ += text_of(each->content);
            if (each->type != XML_ELEMENT_NODE) continue;
            auto inner = element(each, depth + 1);
            if (!inner) return nullptr;
            out->children_.push_back(std::move(inner));
        }
        out->text_ = without_blanks(out->text_);
        return out;
    }
};

std::unique_ptr<XmlElement> parse_xml(std::string_view text, const std::string& file, std::vector<Problem>& problems) {
    const auto refuse = [&](const std::string& where, const std::string& wrong, const std::string& right) {
        problems.push_back({file, where, wrong, right});
        return nullptr;
    };
    if (text.size() > kJsonFileBytesMax) return refuse("", "is too large", "split it");
    const std::unique_ptr<xmlParserCtxt, void (*)(xmlParserCtxt*)> parser(xmlNewParserCtxt(), xmlFreeParserCtxt);
    const std::unique_ptr<xmlDoc, void (*)(xmlDoc*)> document(
        parser == nullptr ? nullptr
                          : xmlCtxtReadMemory(parser.get(), text.data(), static_cast<int>(text.size()), nullptr,
                                              nullptr, XML_PARSE_NONET | XML_PARSE_NOERROR | XML_PARSE_NOWARNING),
        xmlFreeDoc);
    if (document == nullptr) {
        const xmlError* const error = parser == nullptr ? nullptr : xmlCtxtGetLastError(parser.get());
        const std::string what = error == nullptr || error->message == nullptr ? "" : without_blanks(error->message);
        return refuse(error == nullptr ? "" : "line " + std::to_string(error->line), "is not well-formed XML: " + what,
                      "fix it there");
    }
    if (document->intSubset != nullptr)
        return refuse("", "has a document type", "leave <!DOCTYPE> and its entities out");
    const xmlNode* const root = xmlDocGetRootElement(document.get());
    auto out = root == nullptr ? nullptr : XmlReader::element(root, 1);
    if (!out)
        return refuse("", "is nested more than " + std::to_string(kXmlDepthMax) + " deep", "give an XTCE document");
    return out;
}

} // namespace turnstone
